// What a manifest says about an image, computed once more from region map and bytes, in the shapes of the manifest.

import { addressText, concatBytes, utf8 } from "./bytes.js";
import { hmacSha256 } from "./digest.js";
import { RangeSet } from "./range_set.js";
import { compareImages } from "./compare.js";
import { areasOf, bytesOfKind, isPinned, spansOf, writeRangesOf } from "./plan.js";
import { readIdentity } from "./identity.js";
import { viewAt } from "./image.js";
import { sizeOf } from "./place.js";

const nameOf = (plan, memory) => plan.map.memories[memory].name;

export function describeSpans(plan, image) {
  return spansOf(plan, image).map(({ memory, range, kind }) => ({ memory: nameOf(plan, memory), range, kind }));
}

export function describeWriteRanges(plan, image) {
  return writeRangesOf(plan, image).flatMap((set, memory) => set.ranges.map((range) => ({ memory: nameOf(plan, memory), range })));
}

// Payload parts with their entry names: areas; or full, which is everything known for revision 0 and everything pinned for
// later ones.
export function describePayload(plan, image, kind, revision) {
  let sets;
  if (kind === "areas") {
    sets = areasOf(plan, image);
  } else if (revision === 0) {
    sets = image.memories.map(({ known }) => known);
  } else {
    sets = image.memories.map(() => new RangeSet());
    for (const span of spansOf(plan, image)) {
      if (span.known && isPinned(span.kind)) sets[span.memory].add(span.range);
    }
  }
  return sets.map((set, memory) => ({ memory: nameOf(plan, memory), ranges: set.ranges,
    entry: `payload/${plan.map.controller}/${nameOf(plan, memory)}.bin` })).filter((part) => part.ranges.length > 0);
}

export function describeBinding(plan) {
  return plan.map.identity.filter((field) => field.binds)
    .map(({ name, memory, range }) => ({ name, memory: nameOf(plan, memory), range }));
}

// One side of the manifest's `checksums`: "" for copies, floating slots and what is not provable. A rule has no slot of its own:
// its value over the coverage is what both sides can compare.
export function describeCheck(outcome) {
  if (outcome.isCopy || outcome.floating || outcome.state === "not-provable") return "";
  return outcome.isRule ? outcome.computed : outcome.stored;
}

// Text of every non-binding identity field, in map order; "" when unknown or when a byte of it is not pinned.
export function describeIdentity(plan, image) {
  const touches = ({ memory, range }, kind) => bytesOfKind(plan, memory, kind).overlaps(range);
  return readIdentity(plan.map, image).filter(({ field }) => !field.binds)
    .map(({ field, text }) => (["volatile", "floating", "binding"].some((kind) => touches(field, kind)) ? "" : text));
}

// Differences of pinned bytes as changes.json lists them, without options.
export function describeChanges(plan, before, after) {
  return compareImages(plan, before, after).filter(({ kind }) => isPinned(kind))
    .map(({ memory, range, region }) => ({ memory: nameOf(plan, memory), range, region }));
}

// HMAC-SHA-256 with the salt as key over "<controller> <memory> 0x%08x <decimal size>\n" and the field's bytes.
export function saltedDigest(salt, map, field, image) {
  const { begin } = field.range;
  const head = `${map.controller} ${map.memories[field.memory].name} ${addressText(begin)} ${sizeOf(field.range)}\n`;
  return hmacSha256(salt, concatBytes([utf8(head), viewAt(image, field)]));
}
