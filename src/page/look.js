// What can be told of a read from its bytes alone, while its owner is still beside the vehicle. docs/parcel.md, "Looking at the
// reads". Hints: nothing is refused for them.

import { sameBytes } from "./bytes.js";
import { recogniseForm } from "./form.js";

const LOOK_BLOCK = 4096;
const PARTS_MOST = 64;

function isAll(bytes, begin, end, value) {
  for (let i = begin; i < end; ++i) if (bytes[i] !== value) return false;
  return true;
}

function isBlankRead(bytes) {
  if (bytes.length < LOOK_BLOCK) return bytes.length > 0 && isAll(bytes, 0, bytes.length, bytes[0]);
  const blocks = Math.floor(bytes.length / LOOK_BLOCK);
  let blank = 0;
  for (let block = 0; block < blocks; ++block) {
    const [begin, end] = [block * LOOK_BLOCK, (block + 1) * LOOK_BLOCK];
    if ((bytes[begin] === 0 || bytes[begin] === 0xff) && isAll(bytes, begin, end, bytes[begin])) ++blank;
  }
  return 16 * blank > 15 * blocks;
}

function repeatsAfter(bytes, period) {
  for (let i = period; i < bytes.length; ++i) if (bytes[i] !== bytes[i - period]) return false;
  return true;
}

function isRepeated(bytes) {
  for (let parts = 2; parts <= PARTS_MOST; ++parts) {
    const period = bytes.length / parts;
    if (Number.isInteger(period) && repeatsAfter(bytes, period) && !isBlankRead(bytes.subarray(0, period))) return true;
  }
  return false;
}

function differsMuch(bytes, first) {
  if (bytes.length !== first.length) return true;
  let count = 0;
  for (let i = 0; i < bytes.length; ++i) count += bytes[i] === first[i] ? 0 : 1;
  return 64 * count > bytes.length;
}

function isSameMemory(a, b) {
  return a.controller === b.controller && a.memory === b.memory;
}

// The size that a sheet's `reads` give for a memory; 0 where they say none.
export function wantedSize(wanted, { controller, memory }) {
  const read = wanted.find((one) => one.controller === controller);
  return read?.memories.find(({ name }) => name === memory)?.size ?? 0;
}

function codesOf(read, reads, wanted) {
  const { bytes, memory, series } = read;
  if (bytes.length === 0) return ["empty"];
  const isRaw = recogniseForm(bytes) === "raw";
  const size = wantedSize(wanted, read);
  const first = memory !== "" && series > 1 ? reads.find((one) => isSameMemory(one, read) && one.series === 1) : undefined;
  const seen = {
    "blank": isBlankRead(bytes),
    "cut-off": isRaw && size === 0 && bytes.length % 1024 !== 0,
    "differs": first !== undefined && differsMuch(bytes, first.bytes),
    "repeated": isRepeated(bytes),
    "same": reads.some((one) => one !== read && !isSameMemory(one, read) && sameBytes(one.bytes, bytes)),
    "size": isRaw && size !== 0 && bytes.length !== size,
  };
  return Object.keys(seen).filter((code) => seen[code]);
}

// For each read, {controller, memory, series, bytes}, its codes in ascending order. `wanted` are the `reads` of a sheet.
export function lookAtReads(reads, wanted) {
  return reads.map((read) => codesOf(read, reads, wanted));
}
