// What a manifest and its region map say that a person must know before he acts on it: {code, text}, in a fixed order, each at most
// once. The sealing side writes the texts among the manifest's cautions; here they are made anew. `parts` fill the places of the
// page's own words for it, WORDS.cautions under its code, or under `says`.

import { grouped, printable, rangeText, utf8 } from "./bytes.js";
import { RangeSet } from "./range_set.js";
import { segmentsOf } from "./image.js";
import { rangeHolds, rangesOverlap } from "./place.js";

const LISTED_MOST = 70;  // bytes of a line that a list may take

// "a, b and 3 more", within what a line has room for.
function listed(words) {
  let text = "";
  let told = 0;
  for (const word of words) {
    if (utf8(text + word).length > LISTED_MOST) break;
    text += (told === 0 ? "" : ", ") + word;
    ++told;
  }
  const left = words.length - told;
  if (left === 0) return text;
  return told === 0 ? String(left) : `${text} and ${left} more`;
}

function partialBase({ memories }, map) {
  const missing = [];
  let known = 0;
  let all = 0;
  for (const memory of memories) {
    const declared = map.memories.find(({ name }) => name === memory.name);
    const rest = declared === undefined ? new RangeSet([memory.extent]) : segmentsOf(declared);
    all += rest.size;
    for (const range of memory.known) {
      known += range.end - range.begin;
      rest.remove(range);
    }
    missing.push(...rest.ranges.map((range) => `${memory.name} ${rangeText(range)}`));
  }
  if (missing.length === 0) return [];
  return [{ code: "base-partial", text: `the first read holds ${grouped(known)} of ${grouped(all)} bytes; nothing is proved about ${listed(missing)}`,
    parts: { known, all, missing: listed(missing) } }];
}

function checksIn({ checksums }, state, code, words) {
  const names = checksums.filter((check) => check.state === state).map(({ name }) => name);
  if (names.length === 0) return [];
  return [{ code, text: `${names.length} of ${checksums.length} checksums and copies ${words}: ${listed(names)}`,
    parts: { count: names.length, all: checksums.length, names: listed(names) } }];
}

function vehicleNotRead({ binding, memories }) {
  const isKnown = ({ memory, range }) => memories.find(({ name }) => name === memory)?.known
    .some((known) => rangeHolds(known, range)) ?? false;
  if (binding.length === 0 || binding.some((field) => field.digest !== "" || isKnown(field))) return [];
  const names = listed(binding.map(({ name }) => name));
  return [{ code: "vehicle-not-read", text: `the vehicle cannot be told by this read, for it does not hold ${names}: only by the vehicle reference`,
    parts: { names } }];
}

// The text is the result's. Whether it is the base's too is seen from the spans that the field touches.
function verificationNumber({ revision, controllers: [{ identity, spans }] }, map) {
  const textOf = ({ name }) => identity.find((one) => one.name === name)?.text ?? "";
  const field = map.identity.find((one) => one.kind === "verification-number" && textOf(one) !== "");
  if (field === undefined || revision === 0) return [];
  const memory = map.memories[field.memory].name;
  const stays = spans.every((span) => span.memory !== memory || !rangesOverlap(span.range, field.range) || span.before === span.after);
  const number = printable(textOf(field), 40);
  return [{ code: "verification-number", says: `verification-number-${stays ? "stays" : "changes"}`, parts: { number },
    text: `the calibration verification number (SAE J1979) ${stays ? "stays" : "changes to"} ${number}: an inspection may compare it` }];
}

export function cautionsOf(manifest, map) {
  const [controller] = manifest.controllers;
  return [
    ...partialBase(controller, map),
    ...checksIn(controller, "not-provable", "checks-not-provable", "read bytes that the first read does not hold"),
    ...vehicleNotRead(controller),
    ...checksIn(controller, "fails", "received-failing", "do not hold in the read as it was received; the way back restores it so"),
    ...verificationNumber(manifest, map),
  ];
}

export function rootNotConfirmed(fingerprint) {
  return { code: "root-not-confirmed", text: `compare the fingerprint with the shop by voice: ${fingerprint}`, parts: { fingerprint } };
}

export function mapIsDraft({ name }) {
  return { code: "map-draft", text: `the region map ${name} is graded draft: it is believed, not verified`, parts: { name } };
}
