// changes.json: the byte ranges in which base and result differ. Read change by change, since a tree of the whole list would take
// many times the room of its text.

import { rangeText } from "./bytes.js";
import { JsonObject, parseJsonList } from "./json.js";
import { Refusal } from "./reason.js";
import { CanonicalComparison, canonicalText, checkKind, LINE, literalOf, MAYBE_NAME, objectOf, PLACE } from "./schema.js";

const CHANGES_LIMIT = 262144;
const CHANGE = objectOf(...PLACE, ["region", LINE], ["option", MAYBE_NAME]);
const NAMES = ["calseal", "changes", "memory", "start", "size", "region", "option"];

// The fields of a text. The list's own faults come before those of its items, and these before a key too many.
function readFields(bytes, name) {
  const changes = [];
  let fault;
  const take = (node) => {
    if (fault !== undefined || changes.length === CHANGES_LIMIT) return;
    try {
      changes.push(CHANGE.read(node));
    } catch (refusal) {
      if (!(refusal instanceof Refusal)) throw refusal;
      fault = refusal;
    }
  };
  const top = new JsonObject(parseJsonList(bytes, name, { key: "changes", names: NAMES, take }));
  top.required("calseal").text();
  top.required("changes").length(CHANGES_LIMIT);
  if (fault !== undefined) throw fault;
  top.done();
  return changes;
}

function checkWritten(bytes, changes, name) {
  const comparison = new CanonicalComparison(bytes);
  comparison.take(`${literalOf("changes/1")}"changes":[`);
  changes.forEach((change, i) => comparison.take((i === 0 ? "" : ",") + canonicalText(CHANGE, change)));
  comparison.take("]}");
  comparison.finish(name);
}

function checkOrder(changes, name) {
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
}

export function readChanges(bytes, name) {
  checkKind(bytes, "changes/1", name);
  const changes = readFields(bytes, name);
  checkWritten(bytes, changes, name);
  checkOrder(changes, name);
  return changes;
}
