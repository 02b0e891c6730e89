// Closed parcels: HPKE (RFC 9180), base mode, with X25519, HKDF-SHA256 and AES-256-GCM of the browser. docs/parcel.md, "Closed
// parcels".

import { concatBytes, fromHex, grouped, startsWith, toHex, utf8 } from "./bytes.js";
import { hmacSha256 } from "./digest.js";
import { Refusal } from "./reason.js";

const CLOSED_MARK = "calseal-parcel/1\n";
const CLOSED_INFO = utf8("calseal parcel/1");
const PIECE_SIZE = 2 ** 20;
const TAG_SIZE = 16;
const ENC_AT = CLOSED_MARK.length;
const PIECES_AT = ENC_AT + 32;
const CLOSED_MOST = 2147516464; // what the largest parcel gives
const AGREEMENT = { name: "X25519" };
const AGREEMENT_SECRET_START = fromHex("302e020100300506032b656e04220420"); // PKCS#8 (RFC 8410) up to the key's 32 bytes
const KEM_SUITE = [...utf8("KEM"), 0x00, 0x20];
const HPKE_SUITE = [...utf8("HPKE"), 0x00, 0x20, 0x00, 0x01, 0x00, 0x02];
const MODE_BASE = 0;
const VERSION_LABEL = utf8("HPKE-v1");
const NO_SALT = new Uint8Array(32); // HMAC fills an empty key with zeros anyway, and some platforms take no empty one
const U_PRIME = 2n ** 255n - 19n;
// u of the points of order 1, 2, 4 and 8, reduced: with them every private key agrees on zero (RFC 7748, section 6.1).
const SMALL_U = new Set([
  0n, 1n, U_PRIME - 1n,
  325606250916557431795983626356110631294008115727848805560023387167927233504n,
  39382357235489614581723060781553021112529911719440698176882885853963445705823n,
]);

// Whether nothing may be closed to this key, 64 hexadecimal digits.
export function isSmallAgreementKey(publicKey) {
  const u = fromHex(publicKey).reverse();
  u[0] &= 0x7f;
  return SMALL_U.has(BigInt(`0x${toHex(u)}`) % U_PRIME);
}

async function hmacBytes(key, bytes) {
  return fromHex(await hmacSha256(key, bytes));
}

// RFC 9180, section 4: LabeledExtract.
function labeledExtract(suite, salt, label, ikm) {
  return hmacBytes(salt.length === 0 ? NO_SALT : salt, concatBytes([VERSION_LABEL, suite, utf8(label), ikm]));
}

// LabeledExpand, for at most 32 bytes: one block of HKDF-Expand.
async function labeledExpand(suite, prk, label, info, size) {
  const block = await hmacBytes(prk, concatBytes([[0, size], VERSION_LABEL, suite, utf8(label), info, [1]]));
  return block.slice(0, size);
}

function importAgreementSecret(secret) {
  return crypto.subtle.importKey("pkcs8", concatBytes([AGREEMENT_SECRET_START, secret]), AGREEMENT, true, ["deriveBits"]);
}

async function rawPublicKey(key) {
  const { x } = await crypto.subtle.exportKey("jwk", key);
  return Uint8Array.from(atob(x.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));
}

// The private key of a closed parcel's reader, 32 bytes: {secret, publicKey}; a fresh pair without any.
export async function agreementPair(secretBytes = null) {
  const secret = secretBytes === null
    ? (await crypto.subtle.generateKey(AGREEMENT, true, ["deriveBits"])).privateKey : await importAgreementSecret(secretBytes);
  return { secret, publicKey: await rawPublicKey(secret) };
}

// DHKEM: the secret that both sides share.
async function sharedSecret(secret, theirs, enc, recipient) {
  const imported = await crypto.subtle.importKey("raw", theirs, AGREEMENT, false, []);
  const agreed = new Uint8Array(await crypto.subtle.deriveBits({ name: "X25519", public: imported }, secret, 256));
  if (agreed.every((byte) => byte === 0)) throw new RangeError("a public key of small order");
  const prk = await labeledExtract(KEM_SUITE, [], "eae_prk", agreed);
  return labeledExpand(KEM_SUITE, prk, "shared_secret", concatBytes([enc, recipient]), 32);
}

// Section 5.1, base mode: {key, nonce, context, secret}, the last two for the tests.
export async function keySchedule(shared, info) {
  const pskId = await labeledExtract(HPKE_SUITE, [], "psk_id_hash", []);
  const context = concatBytes([[MODE_BASE], pskId, await labeledExtract(HPKE_SUITE, [], "info_hash", info)]);
  const secret = await labeledExtract(HPKE_SUITE, shared, "secret", []);
  const key = await labeledExpand(HPKE_SUITE, secret, "key", context, 32);
  const nonce = await labeledExpand(HPKE_SUITE, secret, "base_nonce", context, 12);
  return { key, nonce, context, secret };
}

// The context of one side: seal() and open() count their calls.
class HpkeContext {
  constructor(key, nonce) {
    this.key = key;
    this.nonce = nonce;
    this.sequence = 0;
  }

  next(aad) {
    const iv = this.nonce.slice();
    for (let i = 11, rest = this.sequence++; rest > 0; --i, rest = Math.floor(rest / 256)) iv[i] ^= rest & 0xff;
    return { name: "AES-GCM", iv, additionalData: aad };
  }

  async seal(aad, bytes) {
    return new Uint8Array(await crypto.subtle.encrypt(this.next(aad), this.key, bytes));
  }

  async open(aad, bytes) {
    return new Uint8Array(await crypto.subtle.decrypt(this.next(aad), this.key, bytes));
  }
}

async function makeContext(shared, info) {
  const { key, nonce } = await keySchedule(shared, info);
  const imported = await crypto.subtle.importKey("raw", key, "AES-GCM", false, ["encrypt", "decrypt"]);
  return new HpkeContext(imported, nonce);
}

// `ephemeral` is an agreementPair(); given only where bytes must come out the same again.
export async function setupSender(recipient, info, ephemeral) {
  const enc = ephemeral.publicKey;
  const shared = await sharedSecret(ephemeral.secret, recipient, enc, recipient);
  return { enc, shared, context: await makeContext(shared, info) };
}

export async function setupReceiver(enc, { secret, publicKey }, info) {
  const shared = await sharedSecret(secret, enc, enc, publicKey);
  return { shared, context: await makeContext(shared, info) };
}

export function isClosedParcel(bytes) {
  return startsWith(bytes, CLOSED_MARK);
}

// `publicKey` is 64 hexadecimal digits of a sheet that was judged.
export async function closeParcel(bytes, publicKey, ephemeral = null) {
  const { enc, context } = await setupSender(fromHex(publicKey), CLOSED_INFO, ephemeral ?? (await agreementPair()));
  const parts = [utf8(CLOSED_MARK), enc];
  for (let at = 0; at < bytes.length; at += PIECE_SIZE) {
    const last = at + PIECE_SIZE >= bytes.length;
    parts.push(await context.seal(Uint8Array.of(last ? 1 : 0), bytes.subarray(at, at + PIECE_SIZE)));
  }
  return concatBytes(parts);
}

// `pair` is an agreementPair(), null where there is no key.
export async function openParcel(bytes, pair, name) {
  if (bytes.length > CLOSED_MOST) {
    const limit = { found: `${grouped(bytes.length)} bytes`, expected: `at most ${grouped(CLOSED_MOST)} bytes` };
    throw new Refusal("parcel-invalid", { file: name, ...limit, next: "check that this is the right file" });
  }
  let at = PIECES_AT;
  const parts = [];
  try {
    if (bytes.length <= PIECES_AT) throw new RangeError("no piece");
    const { context } = await setupReceiver(bytes.slice(ENC_AT, PIECES_AT), pair, CLOSED_INFO);
    while (at < bytes.length) {
      const end = Math.min(at + PIECE_SIZE + TAG_SIZE, bytes.length);
      const piece = await context.open(Uint8Array.of(end === bytes.length ? 1 : 0), bytes.subarray(at, end));
      if (piece.length === 0) throw new RangeError("an empty piece");
      parts.push(piece);
      at = end;
    }
  } catch {
    throw new Refusal("parcel-closed", {
      file: name,
      place: `byte ${at}`,
      found: pair === null ? "a closed parcel, and no key" : "bytes that this key does not open",
      expected: "a parcel closed to this key, whole and unchanged",
      next: "use the key that the shop's sheet names; otherwise ask the customer to send it again",
    });
  }
  return concatBytes(parts);
}
