// Whether the checksums and copies of a region map hold on an image.

import { bytesText, sameBytes, toHex } from "./bytes.js";
import { Refusal } from "./reason.js";
import { knowsPlace, viewAt } from "./image.js";
import { computeValue, encodeSlot, finishValue } from "./value.js";
import { placeText } from "./place.js";

// What a copy holds of one byte of its original.
export function copiedByte({ transform, offset }, byte) {
  if (transform === "complement") return ~byte & 0xff;
  return transform === "offset" ? (byte + offset) & 0xff : byte;
}

// The first byte that the node reads or owns and the image does not know, in words; "" where the node is provable.
export function unknownPlace(plan, node, image) {
  const taken = node.isCopy ? node.reads : node.message.reads;
  const isKnown = (memory, range) => image.memories[memory].known.contains(range);
  const places = [...node.writes, ...node.fixed];
  if (taken.every((set, memory) => set.ranges.every((range) => isKnown(memory, range))) && places.every((place) => knowsPlace(image, place))) return "";
  const needed = taken.map((set) => set.copy());
  for (const place of places) needed[place.memory].add(place.range);
  for (const [memory, missing] of needed.entries()) {
    missing.removeAll(image.memories[memory].known);
    if (!missing.empty) return `${placeText(plan.map, { memory, range: missing.ranges[0] })} is unknown`;
  }
  return "";
}

function verifyCopy(plan, node, image, outcome) {
  const copy = plan.map.copies[node.index];
  if (outcome.state === "not-provable") return;
  const of = viewAt(image, copy.of);
  const to = viewAt(image, copy);
  let differing = 0;
  let first = 0;
  for (let i = 0; i < of.length; ++i) {
    if (to[i] === copiedByte(copy, of[i])) continue;
    if (differing++ === 0) first = i;
  }
  if (differing === 0) return;
  outcome.state = "fails";
  const at = copy.range.begin + first;
  outcome.wrong = { memory: copy.memory, range: { begin: at, end: at + 1 } };
  outcome.detail = `${bytesText(differing)} ${differing === 1 ? "differs, at" : "differ, first at"} ${placeText(plan.map, outcome.wrong)}`;
}

const numberText = (number, bits) => number.toString(16).padStart(Math.floor((bits + 3) / 4), "0");

async function verifyChecksum(plan, node, image, outcome) {
  const checksum = plan.map.checksums[node.index];
  const isKnown = outcome.state !== "not-provable";
  const result = isKnown ? finishValue(checksum, await computeValue(plan, node, image)) : undefined;
  if (checksum.rule !== undefined) {
    outcome.stored = numberText(checksum.rule.equals, checksum.bits);
    if (!isKnown) return;
    outcome.computed = numberText(result, checksum.bits);
    if (result !== checksum.rule.equals) {
      outcome.state = "fails";
      outcome.wrong = checksum.rule.balance;
    }
  } else {
    for (const slot of checksum.slots) {
      const stored = viewAt(image, slot);
      outcome.stored += knowsPlace(image, slot) ? toHex(stored) : "";
      if (!isKnown) continue;
      const right = encodeSlot(checksum.algorithm, slot, result);
      outcome.computed += toHex(right);
      if (sameBytes(right, stored) || outcome.state === "fails") continue;
      outcome.state = "fails";
      outcome.wrong = slot;
    }
  }
  if (outcome.wrong !== undefined) outcome.detail = `at ${placeText(plan.map, outcome.wrong)}`;
}

// How one node stands: `state` "holds", "fails" or "not-provable" (bytes it needs are unknown; never counted as holding);
// `stored` and `computed` hexadecimal, for a rule the value it must have and the value over the coverage; `wrong` the first
// wrong place, if it has one.
export async function verifyCheck(plan, index, image) {
  const node = plan.nodes[index];
  const detail = unknownPlace(plan, node, image);
  const outcome = { name: node.name, node: index, isCopy: node.isCopy, floating: node.floating, places: [...node.writes, ...node.fixed],
    isRule: !node.isCopy && plan.map.checksums[node.index].rule !== undefined,
    state: detail === "" ? "holds" : "not-provable", stored: "", computed: "", wrong: undefined, detail };
  if (node.isCopy) verifyCopy(plan, node, image, outcome);
  else await verifyChecksum(plan, node, image, outcome);
  return outcome;
}

// All nodes, checksums first.
export async function verifyChecks(plan, image) {
  const outcomes = [];
  for (let i = 0; i < plan.nodes.length; ++i) outcomes.push(await verifyCheck(plan, i, image));
  return outcomes;
}

// The refusal of a check that fails.
export function failureOf(plan, outcome) {
  if (outcome.isCopy) {
    return new Refusal("copy-one-sided", { place: `${outcome.name}, ${outcome.detail}`, found: "copy and original that differ",
      expected: "a copy that repeats its original", next: "tell the shop" });
  }
  const place = outcome.wrong === undefined ? outcome.name : `${outcome.name}, ${placeText(plan.map, outcome.wrong)}`;
  const [found, expected] = outcome.isRule ? [`value 0x${outcome.computed}`, `value 0x${outcome.stored}`]
    : [`stored ${outcome.stored}`, `computed ${outcome.computed}`];
  return new Refusal("checksum-fails", { place, found, expected, next: "read the controller again; if it repeats, tell the shop" });
}
