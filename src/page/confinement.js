// Step confinement of docs/proof.md: between cut read and result nothing but areas and derived places has changed. Worded "within
// the areas declared by the region map", never "safe".

import { hexExcerpt } from "./bytes.js";
import { sha256 } from "./digest.js";
import { claimMismatch, Refusal } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { changesIn } from "./compare.js";
import { viewAt } from "./image.js";
import { brokenPatch, patchState } from "./patches.js";
import { comparePlaces, placeText, rangeHolds, setsOf, sizeOf } from "./place.js";
import { unknownPlace } from "./verify.js";

function changeFault({ map, cut, result }, code, place, next) {
  return new Refusal(code, { place: placeText(map, place), found: hexExcerpt(viewAt(result, place)),
    expected: `${hexExcerpt(viewAt(cut, place))} as in the read`, next });
}

// The first change of each kind that may not be, and how many bytes differ. Changes are looked at one by one and not kept.
function walkChanges({ map, spans, cut, result }) {
  const signed = setsOf(map, map.signedParts.flatMap((part) => part.places));
  const patched = setsOf(map, map.patches);
  const first = { bytes: 0, signed: undefined, locked: undefined, vehicle: undefined };
  for (const span of spans) {
    const { memory, kind } = span;
    for (const range of changesIn(span, cut, result)) {
      first.bytes += sizeOf(range);
      if (kind === "volatile" || kind === "binding") first.vehicle ??= { memory, range };
      if (kind !== "locked") continue;
      const [part] = signed[memory].within(range).ranges;
      if (part !== undefined) first.signed ??= { memory, range: part };
      const rest = new RangeSet([range]);
      rest.removeAll(patched[memory].within(range));
      if (!rest.empty) first.locked ??= { memory, range: rest.ranges[0] };
    }
  }
  return first;
}

// 1.
function confineSigned(proof, { signed }) {
  if (signed !== undefined) throw changeFault(proof, "change-signed", signed, "undo the change: the controller rejects this part once it is changed");
}

// 2. By address.
function confinePatches({ map, result }) {
  for (const patch of [...map.patches].sort(comparePlaces)) {
    if (patchState(patch, result) === "broken") throw brokenPatch(map, patch, result);
  }
}

// 3.
function confineLocked(proof, { locked }) {
  if (locked !== undefined) throw changeFault(proof, "change-locked", locked, "undo the change, or mend the region map if these bytes are calibration");
}

// 4.
function confineVehicle(proof, { vehicle }) {
  if (vehicle !== undefined) throw changeFault(proof, "change-volatile", vehicle, "undo the change: these bytes belong to the vehicle");
}

// 5. By address.
function confineUnproved({ map, plan, cut, result }) {
  const isChanged = (place) => !changesIn(place, cut, result).next().done;
  const places = plan.nodes.flatMap((node) => {
    const detail = unknownPlace(plan, node, result);
    return detail === "" ? [] : node.writes.map(({ memory, range }) => ({ memory, range, name: node.name, detail }));
  });
  const first = places.sort(comparePlaces).find(isChanged);
  if (first === undefined) return;
  throw new Refusal("checksum-not-provable", { place: `${first.name}, ${placeText(map, first)}`,
    found: `a changed value, and ${first.detail}`, expected: "the value of the base, or every byte it depends on",
    next: "undo the change, or give an image that is complete" });
}

// 6.
function confinePatchClaims({ claims, map, result }) {
  for (const [i, { name, result: claimed }] of claims.patches.entries()) {
    const found = patchState(map.patches[i], result);
    if (found !== claimed) throw claimMismatch(`controllers/0/patches/${i}/result`, `${name} ${claimed}`, `${found} as in the bytes`);
  }
}

// Whether the listed changes from `at` to `end` are the ranges that changed in a span.
function areChanges(changes, at, end, span, { cut, result }) {
  for (const range of changesIn(span, cut, result)) {
    if (at === end || changes[at].range.begin !== range.begin || changes[at].range.end !== range.end) return false;
    ++at;
  }
  return at === end;
}

// 7. The list is relative to the base, so a span proves something about it where the read has the base's bytes. Spans and changes
// stand in one order, and every change lies inside a span.
async function confineListed(proof) {
  const { opened: { changes }, map, spans, cut } = proof;
  const isIn = ({ memory, range }, change) => change.memory === map.memories[memory].name && rangeHolds(range, change.range);
  let end = 0;
  for (const span of spans) {
    const at = end;
    while (end < changes.length && isIn(span, changes[end])) ++end;
    if (span.before === span.after || areChanges(changes, at, end, span, proof)) continue;
    if ((await sha256(viewAt(cut, span))) !== span.before) continue;
    throw claimMismatch(`changes.json, ${placeText(map, span)}`, "other ranges than those that change", "the ranges as in the bytes");
  }
}

export async function proveConfinement(proof) {
  const first = walkChanges(proof);
  confineSigned(proof, first);
  confinePatches(proof);
  confineLocked(proof, first);
  confineVehicle(proof, first);
  confineUnproved(proof);
  confinePatchClaims(proof);
  await confineListed(proof);
  proof.bytesToChange = first.bytes;
}
