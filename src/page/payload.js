// The payload: bytes of the result, by the ranges of its parts.

import { blankImage, putBytes } from "./image.js";
import { memoryIndexOf, sizeOf } from "./place.js";

// Calls `take(memory, range, bytes)` for each range of each part; `memory` is an index.
export function eachCarried(opened, take) {
  opened.manifest.controllers[0].payload.parts.forEach((part, i) => {
    const memory = memoryIndexOf(opened.map, part.memory);
    let at = 0;
    for (const range of part.ranges) {
      take(memory, range, opened.payload[i].subarray(at, at + sizeOf(range)));
      at += sizeOf(range);
    }
  });
}

// Everything that the payload carries, the rest unknown; of a full payload of revision 0, the first read.
export function carriedImage(opened) {
  const image = blankImage(opened.map);
  eachCarried(opened, (memory, range, bytes) => {
    putBytes(image, { memory, range }, bytes);
    image.memories[memory].known.add(range);
  });
  return image;
}
