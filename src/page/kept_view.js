// What the customer file keeps of a check: the file to be saved again, the receipt for the shop, and what is to be said of both.

import { utf8 } from "./bytes.js";
import { CUSTOMER_NAME } from "./customer_file.js";
import { element, foreign } from "./dom.js";
import { phrase } from "./phrase.js";
import { saveRow } from "./save_button.js";
import { WORDS } from "./words.js";

// Rows to save; `kept` is what customerAfterCheck() gives, with `saved()` and whether it is `changed`, or null without a customer file.
export function keptRows(kept, { manifest, outcome }, isAfterImage) {
  if (kept === null) return [];
  const words = WORDS.kept;
  const rows = [];
  if (kept.fault === null && kept.changed) {
    rows.push(saveRow({ label: [isAfterImage ? words.customerAfter : words.customer], name: CUSTOMER_NAME, bytes: utf8(kept.text), hint: words.keep, saved: kept.saved }));
  }
  if (kept.receipt !== "") {
    const name = `${manifest.controllers[0].name}-revision-${manifest.revision}.receipt`;
    rows.push(saveRow({ label: phrase(words.receipt, { name: foreign(name) }), name, bytes: utf8(kept.receipt), hint: words.receiptHints[outcome] }));
  }
  return rows;
}

export function keptNotes(kept) {
  if (kept === null) return [];
  const words = WORDS.kept;
  const notes = [
    ...(kept.fault === null && kept.saltKept ? [words.salt] : []), ...(kept.saltLeftOut ? [words.saltLeftOut] : []),
    ...(kept.fault === null ? [] : [`${words.fault} ${WORDS.reasons[kept.fault.code].says}`]),
  ];
  return notes.map((text) => element("p", { class: "kept" }, text));
}

// After a refusal, where nothing else is saved.
export function keptPart(kept, verdict) {
  const rows = keptRows(kept, verdict, false);
  const notes = keptNotes(kept);
  if (rows.length + notes.length === 0) return [];
  return [
    element("h3", {}, WORDS.kept.title), element("p", { class: "hint", id: "save-hint" }, WORDS.kept.afterRefusal),
    element("ul", { class: "plain saves" }, ...rows.map(({ item }) => item)), ...notes,
  ];
}
