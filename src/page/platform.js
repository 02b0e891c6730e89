// What the browser must be able to do, tried with known answers before anything is judged.

import { fromHex, utf8 } from "./bytes.js";
import { sha256 } from "./digest.js";
import { inflate } from "./entries.js";
import { verifySignature } from "./key.js";

async function answers(question) {
  try {
    return await question();
  } catch {
    return false;
  }
}

// FIPS 180-4, the digest of "abc".
async function hashes() {
  return (await sha256(utf8("abc"))) === "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
}

// RFC 8032 section 7.1, test 2; and another message, which must not verify.
async function verifies() {
  const key = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c";
  const signature = fromHex(
    "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
  );
  const right = await verifySignature(key, Uint8Array.of(0x72), signature);
  return right && !(await verifySignature(key, Uint8Array.of(0x73), signature));
}

// RFC 1951: one block with fixed codes that holds "a"; whole, followed by a byte, and broken off.
async function inflates() {
  const block = Uint8Array.of(0x4b, 0x04, 0x00);
  const content = await inflate(block, 1);
  if (content === null || content[0] !== 0x61) return false;
  const longer = await inflate(Uint8Array.of(...block, 0), 1);
  return longer === null && (await inflate(block.subarray(0, 2), 1)) === null;
}

// What is missing, in words; an empty list is good.
export async function lacking() {
  const missing = [];
  if (!(await answers(hashes))) missing.push("SHA-256 (WebCrypto)");
  if (!(await answers(verifies))) missing.push("Ed25519 signatures (WebCrypto)");
  if (!(await answers(inflates))) missing.push("raw deflate streams (DecompressionStream)");
  return missing;
}
