// What stands behind a verdict, for those who want to know: folded, but for what the shop says of its own work.

import { bytesAmount, countText } from "./amounts.js";
import { element, folded, foreign, foreignLines } from "./dom.js";
import { foldedList, orderedPart } from "./ordered_view.js";
import { phrase } from "./phrase.js";
import { joined, rows, shopMark } from "./rows_view.js";
import { WORDS } from "./words.js";

function code(text) {
  return element("span", { class: "code" }, text);
}

// What the checker itself says is English in every language, for whoever the person calls.
function english(text) {
  const made = foreign(text, 1000);
  made.lang = "en";
  return made;
}

export function reasonRows({ code: reason, meaning, file, place, found, expected, next }) {
  const long = (text) => (text === "" ? "" : english(text));
  return [[WORDS.technical.meaning, english(meaning)], [WORDS.technical.where, joined(": ", file, place)], [WORDS.technical.found, long(found)], [WORDS.technical.expected, long(expected)],
    [WORDS.technical.next, long(next)], [WORDS.technical.code, code(reason)]];
}

// Nothing where the trust file itself was not believed, or nothing was judged.
export function trustRow({ trustVersion: version, trustTime: time }) {
  return [WORDS.technical.trust, version ? phrase(WORDS.technical.trustIs, { version: String(version), time }) : ""];
}

function sealRows(verdict) {
  const { manifest, signers, shop } = verdict;
  return [trustRow(verdict), [WORDS.technical.sealedBy, [foreign(shop), ": ", ...joined(", ", ...signers)]], [WORDS.technical.controller, manifest.controllers[0].name],
    [WORDS.technical.when, manifest.claimed_time, true], [WORDS.technical.job, manifest.job, true]];
}

function shopWordPart() {
  return element("p", { class: "hint" }, ...phrase(WORDS.shopWordMeans, { mark: WORDS.shopWord }));
}

function optionsPart({ options }) {
  const named = ({ name, title }) => element("li", {}, foreign(title === "" ? name : title));
  const list = element("ul", { class: "plain" }, ...options.map(named));
  return options.length === 0 ? "" : foldedList(list, options.length, phrase(WORDS.work.many, { count: countText(options.length) }).join(""));
}

// What the shop says of its work.
export function workPart({ manifest }) {
  const { title, options: optionsTerm, requires, notes: notesTerm } = WORDS.work;
  const { requirements, notes, ordered } = manifest;
  const shown = [
    ordered.time === "" ? [optionsTerm, optionsPart(manifest)] : [WORDS.ordered.title, orderedPart(manifest)],
    ...requirements.map((text) => [requires, foreign(text)]), [notesTerm, notes === "" ? "" : foreignLines(notes)],
  ];
  return shown.every(([, value]) => value === "") ? [] : [element("h3", {}, title, " ", shopMark()), rows(shown)];
}

function setRows(verdict) {
  if (verdict.partners.length === 0) return [];
  const names = verdict.partners.map(({ controller, given }) => (given ? controller : phrase(WORDS.technical.missing, { controller }).join(""))).join(WORDS.technical.then);
  return [[WORDS.technical.set, `${names}; ${verdict.drivableBetween ? WORDS.technical.between : WORDS.technical.notBetween}`, true]];
}

// Never more than was proved: a checksum over bytes that nobody read is not provable, and never counts as holding.
function checksWords({ controllers: [{ checksums }] }) {
  const holding = checksums.filter((check) => check.state === "holds").length;
  if (checksums.length === 0) return WORDS.technical.noChecksum;
  if (holding === checksums.length) return WORDS.technical.allHold;
  return phrase(WORDS.technical.someHold, { all: String(checksums.length), holding: String(holding) }).join("");
}

// Without a read there is only the first one, which the bundle carries.
function rebuiltWords({ vehicle, shop, manifest }) {
  const { name: map, grade } = manifest.controllers[0].region_map;
  return phrase(vehicle === "asserted" ? WORDS.technical.revived : WORDS.technical.rebuilt, { shop: foreign(shop), map, grade });
}

// The seal of an accepted bundle, and what was proved of it.
export function checkedPart(verdict) {
  return folded(WORDS.technical.checked,
    element("p", {}, ...rebuiltWords(verdict), " ", checksWords(verdict.manifest)),
    shopWordPart(),
    rows([...sealRows(verdict), [WORDS.technical.vehicle, WORDS.vehicle[verdict.vehicle]], [WORDS.technical.order, WORDS.passage[verdict.passage]], ...setRows(verdict),
      [WORDS.technical.bytes, bytesAmount(verdict.bytesToChange)],
      [WORDS.technical.share, phrase(WORDS.technical.shareIs, { share: (verdict.editableShare / 100).toFixed(2) })]]));
}

// The seal alone.
export function trustPart(verdict) {
  return folded(WORDS.technical.title, shopWordPart(), rows(sealRows(verdict)));
}

export function phrasePart({ phrase: spoken }) {
  return spoken ? [folded(WORDS.phrase.title, element("p", {}, WORDS.phrase.says), element("p", { class: "fingerprint" }, spoken))] : [];
}

// What he may read to the shop, so that it can note that the right file arrived.
export function receiptCodePart({ receiptCode }) {
  return receiptCode ? [folded(WORDS.receiptCode.title, element("p", {}, WORDS.receiptCode.says), element("p", { class: "fingerprint" }, receiptCode))] : [];
}

function evidenceRows({ evidence }) {
  const said = ({ name, detail }) =>
    [WORDS.evidence[name] ?? name, ...(detail === "" || detail === "declared" ? [] : [" (", foreign(detail), ")"])];
  const sorted = (given) => evidence.filter((item) => item.given === given).flatMap((item, i) => [...(i === 0 ? [] : ["; "]), ...said(item)]);
  return [[WORDS.technical.given, sorted(true)], [WORDS.technical.notGiven, sorted(false)]];
}

// Reason, evidence and steps; `more` comes between.
export function technicalPart(verdict, more = []) {
  const { reason, steps, outcome } = verdict;
  const reasons = outcome === "refused" ? [...reasonRows(reason), trustRow(verdict)] : [];
  return folded(WORDS.technical.title, element("p", { class: "hint" }, WORDS.technical.english), rows([...reasons, ...evidenceRows(verdict)]), ...more,
    ...(steps.length === 0 ? [] : [element("h3", {}, WORDS.technical.steps), rows(steps.map(({ name, state }) => [name, WORDS.step[state]]))]));
}
