// A confirmation as a person reads it: whether the controller holds the revision, by what proof, and what to do now.

import { bytesAmount, countText } from "./amounts.js";
import { element, folded, foreign } from "./dom.js";
import { phrase } from "./phrase.js";
import { joined, rows } from "./rows_view.js";
import { cautionList } from "./saving_view.js";
import { reasonRows, trustRow } from "./technical_view.js";
import { outcomeHeading, verdictCard } from "./verdict_view.js";
import { WORDS } from "./words.js";

const COLOURS = { confirmed: "accepted", refused: "refused", unproved: "authentic" };

function plainWordsOf({ reason, grade, shop }) {
  const { reasons, grades } = WORDS.confirm;
  if (reason !== null) return reasons[reason.code] ?? WORDS.reasons[reason.code];
  const { says, act } = grades[grade];
  return { says: phrase(says, { shop: foreign(shop) }), act };
}

function gradeRows({ reason, grade }) {
  const { confirm } = WORDS;
  return reason !== null ? [] : [[confirm.proves, confirm.gradeNames[grade]], [confirm.open, confirm.grades[grade].open]];
}

function readRows({ isRead, bytesCompared, bytesDiffering, bytesChanged, bytesArrived, vehicle }, hadBefore) {
  const { confirm, technical } = WORDS;
  if (!isRead) return [];
  return [
    [confirm.compared, phrase(confirm.comparedIs, { bytes: bytesAmount(bytesCompared), differing: countText(bytesDiffering) })],
    [confirm.arrived, bytesChanged === 0 ? "" : phrase(confirm.arrivedIs, { arrived: countText(bytesArrived), changed: bytesAmount(bytesChanged) })],
    [confirm.before, hadBefore ? confirm.withBefore : confirm.withoutBefore],
    [technical.vehicle, WORDS.vehicle[vehicle]],
  ];
}

function scanRows({ scan }) {
  const { confirm } = WORDS;
  return scan.map(({ name, state, tellsApart }) =>
    [confirm.scan, phrase(state === "equal" && tellsApart ? confirm.tellsApart : confirm.values[state], { name: foreign(name) })]);
}

// `hadBefore`: the read from before the write was there too.
export function describeConfirmation(confirmation, hadBefore) {
  const { outcome, reason, manifest, signers, shop } = confirmation;
  const word = outcome === "refused" ? "unconfirmed" : outcome;
  const title = outcomeHeading("h3", word, { id: "confirmation-title", tabindex: "-1" });
  const technical = folded(WORDS.technical.title, element("p", { class: "hint" }, WORDS.technical.english), rows([
    ...(reason === null ? [] : reasonRows(reason)), ...readRows(confirmation, hadBefore), ...scanRows(confirmation), trustRow(confirmation),
    [WORDS.technical.sealedBy, manifest === null ? "" : [foreign(shop), ": ", ...joined(", ", ...signers)]],
  ]), ...cautionList(confirmation));
  const grades = gradeRows(confirmation);
  const more = [...(grades.length === 0 ? [] : [rows(grades)]), technical];
  return verdictCard(COLOURS[outcome], confirmation, manifest, plainWordsOf(confirmation), title, "h4", [], more);
}
