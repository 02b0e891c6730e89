// changes.json: the byte ranges in which base and result differ.

import { grouped, rangeText } from "./bytes.js";
import { Refusal } from "./reason.js";
import { checkKind, LINE, listOf, MAYBE_NAME, objectOf, PLACE, readCanonical, VALUE } from "./schema.js";

const CHANGES_LIMIT = 262144;
const MARKS_LIMIT = 8 * (CHANGES_LIMIT + 1);
const CHANGES = objectOf(
  ["calseal", VALUE],
  ["changes", listOf(objectOf(...PLACE, ["region", LINE], ["option", MAYBE_NAME]), CHANGES_LIMIT)],
);

// Nodes take many times the room of their text, so a text of too many values is not read at all.
function checkMarks(bytes, name) {
  let marks = 0;
  for (const byte of bytes) if (byte === 0x2c || byte === 0x5b || byte === 0x7b) ++marks;
  if (marks <= MARKS_LIMIT) return;
  throw new Refusal("json-value", {
    file: name,
    place: "/changes",
    found: `${grouped(marks)} commas and opening brackets`,
    expected: `at most ${grouped(CHANGES_LIMIT)} changes`,
    next: "do not use this file",
  });
}

export function readChanges(bytes, name) {
  checkKind(bytes, "changes/1", name);
  checkMarks(bytes, name);
  const { changes } = readCanonical(bytes, CHANGES, name);
  const over = new Set(); // memories whose ranges have ended
  for (let i = 1; i < changes.length; ++i) {
    const [before, here] = [changes[i - 1], changes[i]];
    if (before.memory !== here.memory) over.add(before.memory);
    const inOrder = before.memory === here.memory ? before.range.end <= here.range.begin : !over.has(here.memory);
    if (inOrder) continue;
    throw new Refusal("manifest-invalid", {
      file: name,
      place: `/changes/${i}`,
      found: `${here.memory} ${rangeText(here.range)} after ${before.memory} ${rangeText(before.range)}`,
      expected: "the ranges of one memory together, ascending, disjoint",
      next: "do not use this bundle; ask its sender for a new one",
    });
  }
  return changes;
}
