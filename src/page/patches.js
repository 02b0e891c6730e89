// Permitted patches: how they stand in an image, and what bytes are with patches laid over them.

import { hexExcerpt } from "./bytes.js";
import { Refusal } from "./reason.js";
import { viewAt, viewOf } from "./image.js";
import { comparePlaces, overlapping, placeText } from "./place.js";

// "before" or "after" when all bytes that the image knows are those; where nothing known differs, "before"; otherwise "broken".
export function patchState(patch, image) {
  const memory = image.memories[patch.memory];
  const stands = (wanted) => memory.known.within(patch.range).ranges.every(({ begin, end }) =>
    viewOf(memory, { begin, end }).every((byte, i) => byte === wanted[begin - patch.range.begin + i]));
  if (stands(patch.before)) return "before";
  return stands(patch.after) ? "after" : "broken";
}

export function brokenPatch(map, patch, image) {
  return new Refusal("change-patch", { place: `${patch.name}, ${placeText(map, patch)}`, found: hexExcerpt(viewAt(image, patch)),
    expected: `${hexExcerpt(patch.before)} (before) or ${hexExcerpt(patch.after)} (after)`,
    next: "apply the permitted patch whole, or not at all" });
}

// Patches of a map, each as one state of it ("before" or "after", in map order), to be laid over bytes.
export class PatchLayer {
  constructor(map, states) {
    this.sorted = map.patches.map((patch, i) => ({ memory: patch.memory, range: patch.range, bytes: patch[states[i]] })).sort(comparePlaces);
  }

  touches(place) {
    return overlapping(this.sorted, place).length > 0;
  }

  // The image's bytes at a place, with the patches over them; the image stays as it is.
  over(image, place) {
    const laid = overlapping(this.sorted, place);
    const view = viewAt(image, place);
    if (laid.length === 0) return view;
    const bytes = view.slice();
    for (const patch of laid) {
      const begin = Math.max(patch.range.begin, place.range.begin);
      const end = Math.min(patch.range.end, place.range.end);
      bytes.set(patch.bytes.subarray(begin - patch.range.begin, end - patch.range.begin), begin - place.range.begin);
    }
    return bytes;
  }
}
