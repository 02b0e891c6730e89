// Places: a range of addresses with the index of its memory, as {memory, range}; whatever has a place has these two.

import { rangeText } from "./bytes.js";
import { RangeSet } from "./range_set.js";

// In the order of memories, then addresses.
export function comparePlaces(a, b) {
  return a.memory - b.memory || a.range.begin - b.range.begin || a.range.end - b.range.end;
}

// Index of the first element of a sorted list that ends behind the beginning of `place`.
function firstEndingAfter(sorted, place) {
  let low = 0;
  let high = sorted.length;
  while (low < high) {
    const middle = (low + high) >>> 1;
    const at = sorted[middle];
    if ((at.memory - place.memory || at.range.end - place.range.begin) > 0) high = middle;
    else low = middle + 1;
  }
  return low;
}

// Those of a sorted list of disjoint places that share a byte with `place`.
export function overlapping(sorted, place) {
  const found = [];
  for (let i = firstEndingAfter(sorted, place); i < sorted.length; ++i) {
    if (sorted[i].memory !== place.memory || sorted[i].range.begin >= place.range.end) break;
    found.push(sorted[i]);
  }
  return found;
}

// The ranges of some places, one set for each memory of the map.
export function setsOf(map, places) {
  const ranges = map.memories.map(() => []);
  for (const place of places) ranges[place.memory].push(place.range);
  return ranges.map((list) => new RangeSet(list));
}

export function rangesOverlap(a, b) {
  return a.begin < b.end && b.begin < a.end;
}

export function rangeHolds(outer, inner) {
  return outer.begin <= inner.begin && inner.end <= outer.end;
}

export function isEmptyRange(range) {
  return range.begin === range.end;
}

export function sizeOf(range) {
  return range.end - range.begin;
}

// Index of the memory of this name; -1 where there is none.
export function memoryIndexOf(map, name) {
  return map.memories.findIndex((memory) => memory.name === name);
}

// The same range `index` strides later.
export function shifted(range, stride, index) {
  return { begin: range.begin + stride * index, end: range.end + stride * index };
}

// "flash 0x80040000-0x8005ffff"
export function placeText(map, place) {
  const memory = map.memories[place.memory];
  return `${memory === undefined ? "?" : memory.name} ${rangeText(place.range)}`;
}
