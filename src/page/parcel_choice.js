// What follows from what a customer chose, without a page around it: places of reads, what an option lacks, what must be accepted, and
// what is missing before a parcel can be made.

import { utf8 } from "./bytes.js";
import { CONTENTS_TOGETHER } from "./consistency.js";
import { CONTENT_SIZE_MOST } from "./manifest.js";
import { ANSWER_MOST, PARCEL_FILES_MOST, SERIES_MOST } from "./parcel.js";

const WORDS_BYTES = 65536;
const LINE_BYTES = 200;

function samePlace(a, b) {
  return a.controller === b.controller && a.memory === b.memory;
}

// What a file of `size` bytes is probably a read of: {controller, memory}, each "" where nothing tells. `taken` are the places of the
// reads before it.
export function guessPlace(size, wanted, taken) {
  const places = wanted.flatMap(({ controller, again, memories }) => memories.map((memory) => ({ controller, memory: memory.name, size: memory.size, again })));
  const count = (place) => taken.filter((one) => samePlace(one, place)).length;
  const fits = places.filter((place) => place.size !== 0 && place.size === size);
  const found = fits.find((place) => count(place) === 0) ?? fits.find((place) => place.again && count(place) === 1) ?? fits[0];
  if (found !== undefined) return { controller: found.controller, memory: found.memory };
  if (wanted.length !== 1) return { controller: "", memory: "" };
  return { controller: wanted[0].controller, memory: places.length === 1 ? places[0].memory : "" };
}

// 1 for the first read of a memory, 2 for the second …
export function seriesOf(places) {
  return places.map((place, i) => (place.memory === "" ? 1 : 1 + places.slice(0, i).filter((one) => samePlace(one, place)).length));
}

// For each memory that a sheet wants: {title, memory, size, count, again}, `count` reads given so far.
export function wantedReads(wanted, places) {
  return wanted.flatMap(({ controller, title, memories, again }) => memories.map(({ name, size }) => (
    { title, memory: name, size, again, count: places.filter((one) => samePlace(one, { controller, memory: name })).length })));
}

// What the answers say of the vehicle: {fuel: [name], hardware: [name]}; `answers` by question.
export function statedBy(questions, answers) {
  const stated = { fuel: [], hardware: [] };
  for (const { name, states } of questions) if (states !== "" && answers.get(name)) stated[states].push(answers.get(name));
  return stated;
}

// What an ordered option lacks, and what it clashes with: names of the sheet.
export function optionProblems({ requires, excludes }, order, stated) {
  const have = { options: order, ...stated };
  const kinds = ["options", "fuel", "hardware"];
  return {
    lacks: kinds.flatMap((kind) => requires[kind].filter((name) => !have[kind].includes(name))),
    clashes: kinds.flatMap((kind) => excludes[kind].filter((name) => have[kind].includes(name))),
  };
}

// The sheet's cautions, then those of the ordered options in their order, each once.
export function cautionsToAccept(sheet, order) {
  const ordered = sheet.options.filter(({ name }) => order.includes(name));
  return [...new Set([...sheet.cautions, ...ordered.flatMap(({ cautions }) => cautions)])];
}

function bytesOf(text) {
  return utf8(text).length;
}

// What is missing or too much: {kind, …} in the order in which the view shows its parts. `choice` is {reads, logs: their number, series,
// files: [{name, size}], order, answers, accepted, words, vehicle, canClose, sendOpen}, `sheet` may be null.
export function missingBefore(choice, sheet) {
  const { reads, logs, order, answers, accepted, words, vehicle } = choice;
  const problems = [];
  if (reads + logs + order.length === 0 && words === "") problems.push({ kind: "nothing" });
  for (const [what, count] of [["reads", reads], ["logs", logs]]) if (count > PARCEL_FILES_MOST) problems.push({ kind: "many", what, most: PARCEL_FILES_MOST });
  for (const { name, size } of choice.files) if (size > CONTENT_SIZE_MOST) problems.push({ kind: "large", what: name, most: CONTENT_SIZE_MOST });
  const total = choice.files.reduce((sum, { size }) => sum + size, 0);
  if (total > CONTENTS_TOGETHER) problems.push({ kind: "together", most: CONTENTS_TOGETHER });
  if (choice.series.some((series) => series > SERIES_MOST)) problems.push({ kind: "many", what: "series", most: SERIES_MOST });
  const asks = reads + order.length > 0; // a parcel with a log alone asks for nothing new
  for (const { name, text, required } of sheet?.questions ?? []) {
    const answer = answers.get(name) ?? "";
    if (asks && required && answer === "") problems.push({ kind: "question", name, text });
    if (bytesOf(answer) > ANSWER_MOST) problems.push({ kind: "long", what: `answer-${name}`, most: ANSWER_MOST });
  }
  const open = sheet === null || !(asks || accepted.size > 0) ? [] : cautionsToAccept(sheet, order).filter((text) => !accepted.has(text));
  if (open.length > 0) problems.push({ kind: "cautions", count: open.length });
  if (bytesOf(words) > WORDS_BYTES) problems.push({ kind: "long", what: "words", most: WORDS_BYTES });
  if (bytesOf(vehicle) > LINE_BYTES) problems.push({ kind: "long", what: "vehicle", most: LINE_BYTES });
  if (sheet !== null && sheet.parcel_key !== "" && !choice.canClose && !choice.sendOpen) problems.push({ kind: "close" });
  return problems;
}
