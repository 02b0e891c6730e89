// Where two images of one region map differ, which region a place belongs to, and how much of an image is editable.

import { bytesOfKind } from "./plan.js";
import { viewOf } from "./image.js";
import { overlapping, rangeHolds } from "./place.js";

// Differing bytes of two equally long sequences as ascending, disjoint, non-adjacent ranges of offsets.
export function* differingRanges(a, b) {
  for (let at = 0; at < a.length; ++at) {
    if (a[at] === b[at]) continue;
    const begin = at;
    while (at < a.length && a[at] !== b[at]) ++at;
    yield { begin, end: at };
  }
}

// Name of the region that holds a place whole, or "".
export function regionOf(map, place) {
  return overlapping(map.regions, place).find(({ range }) => rangeHolds(range, place.range))?.name ?? "";
}

// Runs of differing bytes of a place that both images know, one after another: a list of them all may be as long as the image.
export function* changesIn({ memory, range }, before, after) {
  const [one, other] = [before.memories[memory], after.memories[memory]];
  for (const part of one.known.within(range).intersect(other.known.within(range)).ranges) {
    for (const { begin, end } of differingRanges(viewOf(one, part), viewOf(other, part))) yield { begin: part.begin + begin, end: part.begin + end };
  }
}

// Share of the image's known bytes that a revision may change, in hundredths of a percent.
export function editableShareOf(plan, image) {
  let known = 0;
  let editable = 0;
  image.memories.forEach((memory, index) => {
    known += memory.known.size;
    editable += bytesOfKind(plan, index, "editable").intersect(memory.known).size;
  });
  return known === 0 ? 0 : Math.floor((editable * 10000) / known);
}
