// Step confinement of docs/proof.md: between cut read and result nothing but areas and derived places has changed. Worded "within
// the areas declared by the region map", never "safe".

import { hexExcerpt } from "./bytes.js";
import { sha256 } from "./digest.js";
import { claimMismatch, Refusal } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { compareImages } from "./compare.js";
import { viewAt } from "./image.js";
import { brokenPatch, patchState } from "./patches.js";
import { comparePlaces, memoryIndexOf, overlapping, placeText, sizeOf } from "./place.js";
import { unknownPlace } from "./verify.js";

function setsOf(map, places) {
  const sets = map.memories.map(() => new RangeSet());
  for (const place of places) sets[place.memory].add(place.range);
  return sets;
}

const isLocked = ({ kind }) => kind === "locked";

function changeFault({ map, cut, result }, code, place, next) {
  return new Refusal(code, { place: placeText(map, place), found: hexExcerpt(viewAt(result, place)),
    expected: `${hexExcerpt(viewAt(cut, place))} as in the read`, next });
}

// 1.
function confineSigned(proof, changes) {
  const signed = setsOf(proof.map, proof.map.signedParts.flatMap((part) => part.places));
  for (const { memory, range } of changes.filter(isLocked)) {
    const [part] = signed[memory].within(range).ranges;
    if (part === undefined) continue;
    throw changeFault(proof, "change-signed", { memory, range: part }, "undo the change: the controller rejects this part once it is changed");
  }
}

// 2. By address.
function confinePatches({ map, result }) {
  for (const patch of [...map.patches].sort(comparePlaces)) {
    if (patchState(patch, result) === "broken") throw brokenPatch(map, patch, result);
  }
}

// 3.
function confineLocked(proof, changes) {
  const patched = setsOf(proof.map, proof.map.patches);
  for (const { memory, range } of changes.filter(isLocked)) {
    const rest = new RangeSet([range]);
    rest.removeAll(patched[memory]);
    if (rest.empty) continue;
    throw changeFault(proof, "change-locked", { memory, range: rest.ranges[0] },
      "undo the change, or mend the region map if these bytes are calibration");
  }
}

// 4.
function confineVehicle(proof, changes) {
  const first = changes.find(({ kind }) => kind === "volatile" || kind === "binding");
  if (first !== undefined) throw changeFault(proof, "change-volatile", first, "undo the change: these bytes belong to the vehicle");
}

// 5. By address.
function confineUnproved({ map, plan, result }, changes) {
  const changed = setsOf(map, changes);
  const places = plan.nodes.flatMap((node) => {
    const detail = unknownPlace(plan, node, result);
    return detail === "" ? [] : node.writes.map(({ memory, range }) => ({ memory, range, name: node.name, detail }));
  });
  const first = places.sort(comparePlaces).find(({ memory, range }) => changed[memory].overlaps(range));
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

// 7. The list is relative to the base, so a span proves something about it where the read has the base's bytes.
async function confineListed({ opened, map, spans, cut }, changes) {
  const listed = opened.changes.map(({ memory, range }) => ({ memory: memoryIndexOf(map, memory), range }));
  for (const span of spans) {
    if (span.before === span.after) continue;
    const [found, said] = [changes, listed].map((places) => overlapping(places, span).map((place) => placeText(map, place)));
    if (found.join() === said.join()) continue;
    if ((await sha256(viewAt(cut, span))) !== span.before) continue;
    throw claimMismatch(`changes.json, ${placeText(map, span)}`, said.slice(0, 4).join(", ") || "no change",
      found.slice(0, 4).join(", ") || "no change");
  }
}

export async function proveConfinement(proof) {
  const changes = compareImages(proof.spans, proof.cut, proof.result);
  confineSigned(proof, changes);
  confinePatches(proof);
  confineLocked(proof, changes);
  confineVehicle(proof, changes);
  confineUnproved(proof, changes);
  confinePatchClaims(proof);
  await confineListed(proof, changes);
  proof.bytesToChange = changes.reduce((total, change) => total + sizeOf(change.range), 0);
}
