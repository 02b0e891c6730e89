// Public keys: their identity, and what a signature under them is worth.

import { concatBytes, fromHex, toHex } from "./bytes.js";
import { sha256 } from "./digest.js";
import { Refusal } from "./reason.js";

// SubjectPublicKeyInfo (RFC 8410) up to the 32 bytes of the key.
const SPKI_START = fromHex("302a300506032b6570032100");
const FIELD_PRIME = 2n ** 255n - 19n;
const GROUP_ORDER = 2n ** 252n + 27742317777372353535851937790883648493n;
// y of the points of order 1, 2, 4 and 8: under them one signature can hold for any message.
const SMALL_ORDER = new Set([
  "0000000000000000000000000000000000000000000000000000000000000000",
  "0100000000000000000000000000000000000000000000000000000000000000",
  "ecffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff7f",
  "26e8958fc2b227b045c3f489f2ef98f0d5dfac05d3c63339b13802886d53fc05",
  "c7176a703d4dd84fba3c0b760d10670f2a2053fa2c39ccc64ec7fd7792ac037a",
]);

function numberOf(littleEndianBytes) {
  return BigInt("0x" + toHex(littleEndianBytes.slice().reverse()));
}

// The key without the bit that is the sign of x.
function yOf(key) {
  const y = key.slice();
  y[31] &= 0x7f;
  return y;
}

function isWeak(key) {
  return SMALL_ORDER.has(toHex(yOf(key))) || numberOf(yOf(key)) >= FIELD_PRIME;
}

// All keys are 64 hexadecimal digits outside this file.
export function keyId(publicKey) {
  return sha256(concatBytes([SPKI_START, fromHex(publicKey)]));
}

export function checkKey(publicKey, name) {
  if (!isWeak(fromHex(publicKey))) return;
  throw new Refusal("key-weak", {
    file: name,
    place: `public key ${publicKey}`,
    found: "a point of small order, or a coordinate that is not reduced",
    expected: "a key that an Ed25519 key generator made",
    next: "do not use this key, and ask where it comes from",
  });
}

// Pure Ed25519 (RFC 8032). Weak keys and unreduced signatures are refused here: platforms differ about them.
export async function verifySignature(publicKey, message, signature) {
  const key = fromHex(publicKey);
  if (signature.length !== 64 || isWeak(key) || numberOf(signature.subarray(32)) >= GROUP_ORDER) return false;
  let imported;
  try {
    imported = await crypto.subtle.importKey("raw", key, { name: "Ed25519" }, false, ["verify"]);
  } catch {
    return false; // 32 bytes that are no point
  }
  return crypto.subtle.verify({ name: "Ed25519" }, imported, signature, message);
}
