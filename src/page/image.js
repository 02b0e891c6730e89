// What a controller holds: memories whose bytes are known or unknown.
//
// A memory is {name, extent, bytes, known}: `bytes` spans the extent whole, and where a byte is unknown it means nothing. Nobody
// writes there, so that the platform need not find room for a memory that nobody read. An image is {memories}, in the order of the
// region map.

import { RangeSet } from "./range_set.js";
import { sizeOf } from "./place.js";

// An image of the map's memories with nothing known.
export function blankImage(map) {
  return {
    memories: map.memories.map(({ name, extent }) => ({ name, extent, bytes: new Uint8Array(sizeOf(extent)), known: new RangeSet() })),
  };
}

// What is known, and no more.
export function copyImage(image) {
  return {
    memories: image.memories.map((memory) => {
      const copy = { name: memory.name, extent: memory.extent, bytes: new Uint8Array(memory.bytes.length), known: memory.known.copy() };
      for (const range of memory.known.ranges) viewOf(copy, range).set(viewOf(memory, range));
      return copy;
    }),
  };
}

export function memoryNamed(image, name) {
  return image.memories.find((memory) => memory.name === name);
}

// The same bytes, of which other addresses count as known (one set for each memory).
export function withKnown(image, sets) {
  return { memories: image.memories.map((memory, i) => ({ ...memory, known: sets[i] })) };
}

// The bytes at known and unknown addresses alike; the range must lie inside the extent.
export function viewOf(memory, range) {
  return memory.bytes.subarray(range.begin - memory.extent.begin, range.end - memory.extent.begin);
}

export function viewAt(image, place) {
  return viewOf(image.memories[place.memory], place.range);
}

export function knowsPlace(image, place) {
  return image.memories[place.memory].known.contains(place.range);
}

export function putBytes(image, place, bytes) {
  const memory = image.memories[place.memory];
  memory.bytes.set(bytes, place.range.begin - memory.extent.begin);
}

// The addresses of the memory that exist.
export function segmentsOf(memory) {
  return new RangeSet(memory.segments);
}

// How many bytes a raw file of the memory has.
export function segmentTotal(memory) {
  return memory.segments.reduce((total, segment) => total + sizeOf(segment), 0);
}

// The bytes of `ranges` one after another.
export function joinRanges(memory, ranges) {
  const joined = new Uint8Array(ranges.reduce((total, range) => total + sizeOf(range), 0));
  let at = 0;
  for (const range of ranges) {
    joined.set(viewOf(memory, range), at);
    at += sizeOf(range);
  }
  return joined;
}
