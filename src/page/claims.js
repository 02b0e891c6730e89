// Step claims of docs/proof.md: what the manifest says of the shape of the image is what region map and bytes give. From here on
// the image at hand is the cut read.

import { rangeText } from "./bytes.js";
import { sha256 } from "./digest.js";
import { claimMismatch } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { editableShareOf } from "./compare.js";
import { withKnown } from "./image.js";
import { PatchLayer } from "./patches.js";
import { eachCarried } from "./payload.js";
import { areasOf, isPinned, makePlan, spansOf, writeRangesOf } from "./plan.js";
import { overlapping, placeText } from "./place.js";

// 1. It needs descriptor tables alone, and these are locked bytes, which are proved. `shape` is the cut read with everything known
// that the base knew.
function claimPlan(proof) {
  proof.plan = makePlan(proof.map, proof.cut);
  proof.shape = withKnown(proof.cut, proof.baseKnown);
  proof.areas = areasOf(proof.plan, proof.shape);
  proof.written = writeRangesOf(proof.plan, proof.areas, proof.shape);
}

// The first of two lists that is not as it should be: -1 where all are.
function firstOther(said, found) {
  const length = Math.max(said.length, found.length);
  for (let i = 0; i < length; ++i) if (said[i] !== found[i]) return i;
  return -1;
}

function demandSame(name, said, found) {
  const i = firstOther(said, found);
  if (i >= 0) throw claimMismatch(`controllers/0/${name}/${i}`, said[i] ?? "the end of the list", found[i] ?? "the end of the list");
}

// 2.
function claimSpans({ map, plan, shape, spans }) {
  const text = (span) => `${placeText(map, span)}, ${span.kind}`;
  demandSame("spans", spans.map(text), spansOf(plan, shape).map(text));
}

// 3.
function claimWriteRanges({ claims, map, written }) {
  const found = written.flatMap((set, memory) => set.ranges.map((range) => placeText(map, { memory, range })));
  demandSame("write_ranges", claims.write_ranges.map(({ memory, range }) => `${memory} ${rangeText(range)}`), found);
}

// What a payload of this kind carries, by memory.
function carriedSets({ areas, shape, claims, manifest, spans }) {
  if (claims.payload.kind === "areas") return areas;
  if (manifest.revision === 0) return shape.memories.map(({ known }) => known);
  const sets = shape.memories.map(() => new RangeSet());
  for (const { memory, range, kind, known } of spans) if (known && isPinned(kind)) sets[memory].add(range);
  return sets;
}

// 4.
function claimPayload(proof) {
  const { claims, map } = proof;
  const text = (memory, entry, ranges) => `${memory}, ${entry}: ${ranges.map(rangeText).join(" ")}`;
  const found = carriedSets(proof).map(({ ranges }, i) => [map.memories[i].name, ranges]).filter(([, ranges]) => ranges.length > 0);
  demandSame("payload/parts", claims.payload.parts.map(({ memory, entry, ranges }) => text(memory, entry, ranges)),
    found.map(([memory, ranges]) => text(memory, `payload/${map.controller}/${memory}.bin`, ranges)));
}

async function demandDigest(proof, place, span, bytes, wanted) {
  const found = await sha256(bytes);
  if (found === wanted) return;
  throw claimMismatch(`${place}, ${placeText(proof.map, span)}`, wanted, `SHA-256 ${found}`);
}

// 5. They are not laid down, but they must not lie.
async function claimCarriedLocked(proof) {
  if (proof.claims.payload.kind !== "full") return;
  const carried = [];
  eachCarried(proof.opened, (memory, range, bytes) => carried.push({ memory, range, bytes }));
  for (const span of proof.spans) {
    if (!span.known || span.kind !== "locked") continue;
    const [{ range, bytes }] = overlapping(carried, span);
    await demandDigest(proof, "controllers/0/payload", span, bytes.subarray(span.range.begin - range.begin, span.range.end - range.begin), span.after);
  }
}

// 6. Where no patch lies, the bytes are those of `after`, which step match has compared.
async function claimLockedBefore(proof) {
  const { claims, map, cut, spans } = proof;
  const patches = new PatchLayer(map, claims.patches.map(({ base }) => base));
  for (const [i, span] of spans.entries()) {
    if (!span.known || span.kind !== "locked") continue;
    const place = `controllers/0/spans/${i}/before`;
    if (patches.touches(span)) await demandDigest(proof, place, span, patches.over(cut, span), span.before);
    else if (span.before !== span.after) throw claimMismatch(place, span.before, `${span.after}, for no patch lies here`);
  }
}

export async function proveClaims(proof) {
  claimPlan(proof);
  claimSpans(proof);
  claimWriteRanges(proof);
  claimPayload(proof);
  await claimCarriedLocked(proof);
  await claimLockedBefore(proof);
  proof.editableShare = editableShareOf(proof.plan, proof.shape);
}
