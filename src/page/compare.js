// Where two images of one region map differ, and the proof that a revision changes only what its region map allows: every
// changed byte lies in an editable region, in a permitted patch that stands whole, or in a derived place. Worded "within the
// areas declared by the region map", never "safe".

import { hexExcerpt, sameBytes } from "./bytes.js";
import { Refusal } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { bytesOfKind, spansOf } from "./plan.js";
import { verifyChecks } from "./verify.js";
import { knowsPlace, viewAt, viewOf } from "./image.js";
import { comparePlaces, firstEndingAfter, placeText, sizeOf } from "./place.js";

// Differing bytes of two equally long sequences as ascending, disjoint, non-adjacent ranges of offsets.
export function differingRanges(a, b) {
  const ranges = [];
  for (let at = 0; at < a.length; ++at) {
    if (a[at] === b[at]) continue;
    const begin = at;
    while (at < a.length && a[at] !== b[at]) ++at;
    ranges.push({ begin, end: at });
  }
  return ranges;
}

// Name of the region that holds an address, or "".
export function regionAt(map, memory, address) {
  const at = { memory, range: { begin: address, end: address + 1 } };
  const region = map.regions[firstEndingAfter(map.regions, at)];
  return region !== undefined && region.memory === memory && region.range.begin <= address ? region.name : "";
}

// All bytes known in both that differ, cut at every span: [{memory, range, kind, region}].
export function compareImages(plan, before, after) {
  const changes = [];
  for (const { memory, range, kind, known } of spansOf(plan, before)) {
    if (!known) continue;
    for (const part of after.memories[memory].known.within(range).ranges) {
      for (const { begin, end } of differingRanges(viewOf(before.memories[memory], part), viewOf(after.memories[memory], part))) {
        const changed = { begin: part.begin + begin, end: part.begin + end };
        changes.push({ memory, range: changed, kind, region: regionAt(plan.map, memory, changed.begin) });
      }
    }
  }
  return changes;
}

function patchFault(map, patch, image) {
  if (!knowsPlace(image, patch)) return undefined;
  const bytes = viewAt(image, patch);
  if (sameBytes(bytes, patch.before) || sameBytes(bytes, patch.after)) return undefined;
  return new Refusal("change-patch", { place: `${patch.name}, ${placeText(map, patch)}`, found: hexExcerpt(bytes),
    expected: `${hexExcerpt(patch.before)} (before) or ${hexExcerpt(patch.after)} (after)`,
    next: "apply the permitted patch whole, or not at all" });
}

// Throws for the first permitted patch, in map order, that stands neither as before nor as after.
export function requireWholePatches(map, image) {
  for (const patch of map.patches) {
    const fault = patchFault(map, patch, image);
    if (fault !== undefined) throw fault;
  }
}

function changeFault(map, code, place, before, after, next) {
  return new Refusal(code, { place: placeText(map, place), found: hexExcerpt(viewAt(after, place)),
    expected: `${hexExcerpt(viewAt(before, place))} as in the base`, next });
}

function firstMissing(map, before, after) {
  for (const [memory, { known }] of before.memories.entries()) {
    const missing = known.copy();
    missing.removeAll(after.memories[memory].known);
    if (missing.empty) continue;
    return new Refusal("read-incomplete", { place: placeText(map, { memory, range: missing.ranges[0] }), found: "unknown bytes",
      expected: "every byte that the base knows", next: "use an image as complete as the base" });
  }
  return undefined;
}

const setsOf = (map, places) => {
  const sets = map.memories.map(() => new RangeSet());
  for (const place of places) sets[place.memory].add(place.range);
  return sets;
};

// The first violation, in the order of the reasons and then of addresses.
function firstChangeFault(map, changes, before, after) {
  const locked = changes.filter((change) => change.kind === "locked");
  const signed = setsOf(map, map.signedParts.flatMap((part) => part.places));
  const patched = setsOf(map, map.patches);
  for (const { memory, range } of locked) {
    const [part] = signed[memory].within(range).ranges;
    if (part === undefined) continue;
    return changeFault(map, "change-signed", { memory, range: part }, before, after,
      "undo the change: the controller rejects this part once it is changed");
  }
  for (const patch of [...map.patches].sort(comparePlaces)) {
    const fault = patchFault(map, patch, after);
    if (fault !== undefined) return fault;
  }
  for (const { memory, range } of locked) {
    const rest = new RangeSet([range]);
    rest.removeAll(patched[memory]);
    if (rest.empty) continue;
    return changeFault(map, "change-locked", { memory, range: rest.ranges[0] }, before, after,
      "undo the change, or mend the region map if these bytes are calibration");
  }
  const vehicles = changes.find(({ kind }) => kind === "volatile" || kind === "binding");
  if (vehicles === undefined) return undefined;
  return changeFault(map, "change-volatile", vehicles, before, after, "undo the change: these bytes belong to the vehicle");
}

// A derived place that changed although nothing proves its value.
function firstUnproved(map, changes, checks) {
  const changed = setsOf(map, changes);
  const faults = [];
  for (const { state, name, places, detail } of checks) {
    if (state !== "not-provable") continue;
    const place = places.find(({ memory, range }) => changed[memory].overlaps(range));
    if (place !== undefined) faults.push({ memory: place.memory, range: place.range, name, detail });
  }
  const [first] = faults.sort(comparePlaces);
  if (first === undefined) return undefined;
  return new Refusal("checksum-not-provable", { place: `${first.name}, ${placeText(map, first)}`,
    found: `a changed value, and ${first.detail}`, expected: "the value of the base, or every byte it depends on",
    next: "undo the change, or give an image that is complete" });
}

// Judges `after` against `before`, byte by byte: {changes, changedBytes, checks, patchesApplied}, or throws the first violation.
// Checks that fail are left to the caller, which knows what was said of them.
export async function proveConfinement(plan, before, after) {
  const { map } = plan;
  const changes = compareImages(plan, before, after);
  const checks = await verifyChecks(plan, after);
  const fault = firstMissing(map, before, after) ?? firstChangeFault(map, changes, before, after) ?? firstUnproved(map, changes, checks);
  if (fault !== undefined) throw fault;
  return {
    changes,
    checks,
    changedBytes: changes.reduce((total, change) => total + sizeOf(change.range), 0),
    patchesApplied: map.patches.map((patch) => knowsPlace(after, patch) && sameBytes(viewAt(after, patch), patch.after)),
  };
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
