// What the contents of a bundle and its manifest say of each other: "contents against the manifest" in docs/proof.md. `opened` is
// what open.js makes, as far as it has come.

import { grouped, rangeText } from "./bytes.js";
import { claimMismatch } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { differingRanges, regionOf } from "./compare.js";
import { segmentsOf } from "./image.js";
import { memoryIndexOf, overlapping, placeText, rangeHolds, setsOf } from "./place.js";

// 1.
export function claimMap({ name, manifest, map }) {
  const [controller] = manifest.controllers;
  const demand = (place, said, is) => {
    if (said !== is) throw claimMismatch(`/controllers/0${place}`, said, `${is} as in the region map`, name);
  };
  const mapText = (one) => `${one.name} version ${one.version}, ${one.grade}`;
  const memoryText = (one) => `${one.name} ${rangeText(one.extent)}`;
  const names = (list) => list.map((one) => one.name).join(", ");
  const bindingText = (memory, field) => `${field.name} at ${memory} ${rangeText(field.range)}`;
  const binding = map.identity.filter(({ binds }) => binds);
  demand("/name", controller.name, map.controller);
  demand("/region_map", mapText(controller.region_map), mapText(map));
  demand("/memories", controller.memories.map(memoryText).join(", "), map.memories.map(memoryText).join(", "));
  demand("/identity", names(controller.identity), names(map.identity.filter(({ binds }) => !binds)));
  demand("/binding", controller.binding.map((field) => bindingText(field.memory, field)).join(", "),
    binding.map((field) => bindingText(map.memories[field.memory].name, field)).join(", "));
  demand("/patches", names(controller.patches), names(map.patches));
}

// The manifest's spans as places of the map.
export function spanPlaces({ manifest, map }) {
  return manifest.controllers[0].spans.map((span) => ({ ...span, memory: memoryIndexOf(map, span.memory) }));
}

// The one span that a listed change lies in, and that it is a change of.
function spanOfChange(map, spans, place, demand) {
  const [span, ...others] = overlapping(spans, place);
  const isInside = span !== undefined && others.length === 0 && rangeHolds(span.range, place.range);
  demand(isInside, placeText(map, place), "a range inside one span");
  demand(span.after !== "" && span.before !== span.after, placeText(map, place), "a range of a pinned span that differs before and after");
  return span;
}

// What a change says of itself, in order; the listed ranges by span.
function listChanges({ name, manifest, map, changes }, spans) {
  const options = new Set(manifest.options.map((option) => option.name));
  const listed = new Map(spans.map((span) => [span, []]));
  let last = 0;
  for (const [i, { memory: memoryName, range, region, option }] of changes.entries()) {
    const demand = (holds, found, expected) => {
      if (!holds) throw claimMismatch(`/changes/${i}`, found, expected, `${name}:changes.json`);
    };
    const memory = memoryIndexOf(map, memoryName);
    demand(memory >= last, memoryName, "memories of the region map, in its order");
    last = memory;
    const place = { memory, range };
    const inSpan = listed.get(spanOfChange(map, spans, place, demand));
    demand(inSpan.length === 0 || inSpan.at(-1).end < range.begin, placeText(map, place), "other bytes between two ranges of a span");
    const holder = regionOf(map, place);
    demand(region === holder, `region "${region}"`, `region "${holder}"`);
    demand(option === "" || options.has(option), `option "${option}"`, "an option of the manifest");
    inSpan.push(range);
  }
  return listed;
}

// Bytes that the patches change between base and result, by memory.
function patchedBytes({ manifest, map }) {
  return setsOf(map, manifest.controllers[0].patches.flatMap(({ base, result }, i) => {
    const { memory, range, before, after } = map.patches[i];
    if (base === result) return [];
    return [...differingRanges(before, after)].map(({ begin, end }) => ({ memory, range: { begin: range.begin + begin, end: range.begin + end } }));
  }));
}

// 2.
export function claimChanges(opened) {
  const { name, map } = opened;
  const spans = spanPlaces(opened);
  const listed = listChanges(opened, spans);
  const patched = patchedBytes(opened);
  for (const span of spans) {
    const ranges = listed.get(span);
    const mismatch = (found, expected) => claimMismatch(`/changes, ${placeText(map, span)}`, found, expected, `${name}:changes.json`);
    if (span.before !== span.after && ranges.length === 0) throw mismatch("no change", "a change, since the digests differ");
    if (span.kind !== "locked" || span.after === "") continue;
    const expected = patched[span.memory].within(span.range);
    if (!new RangeSet(ranges).equals(expected)) throw mismatch(ranges.map(rangeText).join(", ") || "no change", `${expected.ranges.map(rangeText).join(", ") || "no change"}, as the patches have it`);
  }
}

// 3. The bundle is itself a member of its set.
export function claimSet({ name, manifest, set }) {
  const [controller] = manifest.controllers;
  const own = {
    controller: controller.name,
    base: manifest.base.number,
    sequence: manifest.sequence,
    map_digest: controller.region_map.digest,
    pinned: controller.pinned.after,
  };
  const member = set.members.find((one) => one.controller === own.controller);
  const isMember = member !== undefined && Object.keys(own).every((key) => own[key] === member[key]);
  if (set.job === manifest.job && isMember) return;
  throw claimMismatch("set.json", "a set that this bundle is no member of",
    "a member with this bundle's controller, base, sequence, region map and pinned digest", name);
}

// 4. Raw files of revision 0, which are what the payload holds of their memory; what an entry holds is proved by its digest.
export function claimFiles({ name, manifest, map }) {
  if (manifest.revision !== 0) return;
  const { files, memories, payload: { parts } } = manifest.controllers[0];
  for (const [i, { memory, form, size, digest }] of files.entries()) {
    const index = memories.findIndex((one) => one.name === memory);
    if (form !== "raw" || index < 0) continue;
    if (!new RangeSet(memories[index].known).equals(segmentsOf(map.memories[index]))) continue;
    const part = parts.find((one) => one.memory === memory);
    const carried = manifest.entries.find((one) => one.name === part.entry);
    if (size === carried.size && digest === carried.digest) continue;
    throw claimMismatch(`/controllers/0/files/${i}`, `${grouped(size)} bytes, SHA-256 ${digest}`,
      `${grouped(carried.size)} bytes, SHA-256 ${carried.digest} as in the payload`, name);
  }
}
