// The arithmetic of one checksum: value over its message, finished result, and the bytes that its slots should hold. Numbers
// are BigInt; the result of SHA-256 is its 32 bytes.

import { crcOf } from "./crc.js";
import { Sha256 } from "./sha256.js";
import { Adler, Fletcher, Sum, lowMask, onesComplement, twosComplement } from "./sum.js";
import { algorithmBits } from "./region_map_checksums.js";
import { sizeOf } from "./place.js";

// Before complement, addend and cut. Unknown bytes count as the fill: ask first.
export async function computeValue(plan, node, image) {
  const { algorithm } = plan.map.checksums[node.index];
  const { message } = node;
  if (algorithm.kind === "crc") {
    const crc = crcOf(algorithm.crc);
    let state = crc.start();
    for (const block of message.blocks(image)) state = crc.update(state, block);
    return crc.finish(state);
  }
  const check = algorithm.kind === "sha" ? new Sha256() : algorithm.kind === "sum" ? new Sum(algorithm.sum)
    : algorithm.kind === "fletcher" ? new Fletcher(algorithm.width, algorithm.order) : new Adler();
  for (const block of message.blocks(image)) check.update(block);
  return check.value();
}

// low `bits` of (complement(value) + add); a digest passes unchanged.
export function finishValue(checksum, value) {
  if (checksum.algorithm.kind === "sha") return value;
  const width = algorithmBits(checksum.algorithm);
  if (checksum.complement === "ones") value = onesComplement(value, width);
  if (checksum.complement === "twos") value = twosComplement(value, width);
  return (value + checksum.add) & lowMask(width) & lowMask(checksum.bits);
}

// The low bits that the value must have so that the finished result is `result`. Complement, negation and addition carry only
// upwards, so the low bits can be undone alone.
export function unfinishNumber(checksum, result) {
  const number = (result - checksum.add) & lowMask(checksum.bits);
  if (checksum.complement === "ones") return onesComplement(number, checksum.bits);
  return checksum.complement === "twos" ? twosComplement(number, checksum.bits) : number;
}

function mirrorBits(number, bits) {
  let out = 0n;
  for (let i = 0; i < bits; ++i) out = (out << 1n) | ((number >> BigInt(i)) & 1n);
  return out;
}

function encodeDigits(number, size, encoding) {
  const radix = encoding === "decimal" ? 10n : 16n;
  const digits = encoding === "hex-upper" ? "0123456789ABCDEF" : "0123456789abcdef";
  const bytes = new Uint8Array(size);
  for (let i = size - 1; i >= 0; --i, number /= radix) bytes[i] = digits.charCodeAt(Number(number % radix));
  return bytes;
}

// A number as a word of `size` bytes in either order.
export function encodeWord(number, size, order) {
  const bytes = new Uint8Array(size);
  for (let i = 0; i < size; ++i) bytes[order === "big" ? size - 1 - i : i] = Number((number >> BigInt(8 * i)) & 0xffn);
  return bytes;
}

export function decodeWord(bytes, order) {
  return bytes.reduce((number, byte, i) => number | (BigInt(byte) << BigInt(8 * (order === "big" ? bytes.length - 1 - i : i))), 0n);
}

// What `slot` holds when the result is `result`.
export function encodeSlot(algorithm, slot, result) {
  const size = sizeOf(slot.range);
  if (algorithm.kind === "sha") {
    const bytes = result.slice(slot.from, slot.from + size);
    return slot.transform === "complement" ? bytes.map((byte) => ~byte) : bytes;
  }
  let part = (result >> BigInt(slot.from)) & lowMask(slot.bits);
  if (slot.transform === "complement") part = onesComplement(part, slot.bits);
  if (slot.transform === "negate") part = twosComplement(part, slot.bits);
  if (slot.transform === "reverse") part = mirrorBits(part, slot.bits);
  return slot.encoding === "binary" ? encodeWord(part, size, slot.order) : encodeDigits(part, size, slot.encoding);
}
