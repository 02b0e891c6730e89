// SHA-256 and HMAC of the platform; CRC-32 of ZIP, which tells a damaged copy from a forgery and proves nothing.

import { toHex } from "./bytes.js";

export async function sha256(bytes) {
  return toHex(new Uint8Array(await crypto.subtle.digest("SHA-256", bytes)));
}

export async function hmacSha256(key, bytes) {
  const algorithm = { name: "HMAC", hash: "SHA-256" };
  const imported = await crypto.subtle.importKey("raw", key, algorithm, false, ["sign"]);
  return toHex(new Uint8Array(await crypto.subtle.sign("HMAC", imported, bytes)));
}

// One table per distance, so that eight bytes are taken at once.
const CRC_TABLES = makeCrcTables();

function makeCrcTables() {
  const tables = Array.from({ length: 8 }, () => new Uint32Array(256));
  for (let byte = 0; byte < 256; ++byte) {
    let crc = byte;
    for (let bit = 0; bit < 8; ++bit) crc = crc & 1 ? (crc >>> 1) ^ 0xedb88320 : crc >>> 1;
    tables[0][byte] = crc;
  }
  for (let t = 1; t < 8; ++t) {
    for (let byte = 0; byte < 256; ++byte) {
      const before = tables[t - 1][byte];
      tables[t][byte] = (before >>> 8) ^ tables[0][before & 0xff];
    }
  }
  return tables;
}

// CRC-32/ISO-HDLC: 0xcbf43926 of "123456789".
export function crc32(bytes) {
  const [t0, t1, t2, t3, t4, t5, t6, t7] = CRC_TABLES;
  let crc = 0xffffffff;
  let at = 0;
  for (; at + 8 <= bytes.length; at += 8) {
    const low = crc ^ (bytes[at] | (bytes[at + 1] << 8) | (bytes[at + 2] << 16) | (bytes[at + 3] << 24));
    crc =
      t7[low & 0xff] ^ t6[(low >>> 8) & 0xff] ^ t5[(low >>> 16) & 0xff] ^ t4[low >>> 24] ^
      t3[bytes[at + 4]] ^ t2[bytes[at + 5]] ^ t1[bytes[at + 6]] ^ t0[bytes[at + 7]];
  }
  for (; at < bytes.length; ++at) crc = (crc >>> 8) ^ t0[(crc ^ bytes[at]) & 0xff];
  return (crc ^ 0xffffffff) >>> 0;
}
