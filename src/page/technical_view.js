// What stands behind a verdict, for those who want to know: folded, but for what the shop says of its own work.

import { bytesText, grouped } from "./bytes.js";
import { element, folded, foreign, foreignLines, phrase } from "./dom.js";
import { foldedList, orderedPart } from "./ordered_view.js";
import { joined, rows, shopMark } from "./rows_view.js";
import { WORDS } from "./words.js";

const TERMS = WORDS.technical;

function code(text) {
  return element("span", { class: "code" }, text);
}

export function reasonRows({ code: reason, meaning, file, place, found, expected, next }) {
  const long = (text) => (text === "" ? "" : foreign(text, 1000));
  return [[TERMS.meaning, meaning], [TERMS.where, joined(": ", file, place)], [TERMS.found, long(found)], [TERMS.expected, long(expected)],
    [TERMS.next, long(next)], [TERMS.code, code(reason)]];
}

// Nothing where the trust file itself was not believed, or nothing was judged.
export function trustRow({ trustVersion: version, trustTime: time }) {
  return [TERMS.trust, version ? phrase(TERMS.trustIs, { version: String(version), time }) : ""];
}

function sealRows(verdict) {
  const { manifest, signers, shop } = verdict;
  return [trustRow(verdict), [TERMS.sealedBy, [foreign(shop), ": ", ...joined(", ", ...signers)]], [TERMS.controller, manifest.controllers[0].name],
    [TERMS.when, manifest.claimed_time, true], [TERMS.job, manifest.job, true]];
}

function shopWordPart() {
  return element("p", { class: "hint" }, ...phrase(WORDS.shopWordMeans, { mark: WORDS.shopWord }));
}

function optionsPart({ options }) {
  const named = ({ name, title }) => element("li", {}, foreign(title === "" ? name : title));
  const list = element("ul", { class: "plain" }, ...options.map(named));
  return options.length === 0 ? "" : foldedList(list, options.length, phrase(WORDS.work.many, { count: grouped(options.length) }).join(""));
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
  const names = verdict.partners.map(({ controller, given }) => (given ? controller : phrase(TERMS.missing, { controller }).join(""))).join(TERMS.then);
  return [[TERMS.set, `${names}; ${verdict.drivableBetween ? TERMS.between : TERMS.notBetween}`, true]];
}

// Never more than was proved: a checksum over bytes that nobody read is not provable, and never counts as holding.
function checksWords({ controllers: [{ checksums }] }) {
  const holding = checksums.filter((check) => check.state === "holds").length;
  if (checksums.length === 0) return TERMS.noChecksum;
  if (holding === checksums.length) return TERMS.allHold;
  return phrase(TERMS.someHold, { all: String(checksums.length), holding: String(holding) }).join("");
}

// Without a read there is only the first one, which the bundle carries.
function rebuiltWords({ vehicle, shop, manifest }) {
  const { name: map, grade } = manifest.controllers[0].region_map;
  return phrase(vehicle === "asserted" ? TERMS.revived : TERMS.rebuilt, { shop: foreign(shop), map, grade });
}

// The seal of an accepted bundle, and what was proved of it.
export function checkedPart(verdict) {
  return folded(TERMS.checked,
    element("p", {}, ...rebuiltWords(verdict), " ", checksWords(verdict.manifest)),
    shopWordPart(),
    rows([...sealRows(verdict), [TERMS.vehicle, WORDS.vehicle[verdict.vehicle]], [TERMS.order, WORDS.passage[verdict.passage]], ...setRows(verdict),
      [TERMS.bytes, bytesText(verdict.bytesToChange)],
      [TERMS.share, phrase(TERMS.shareIs, { share: (verdict.editableShare / 100).toFixed(2) })]]));
}

// The seal alone.
export function trustPart(verdict) {
  return folded(TERMS.title, shopWordPart(), rows(sealRows(verdict)));
}

export function phrasePart({ phrase: spoken }) {
  return spoken ? [folded(WORDS.phrase.title, element("p", {}, WORDS.phrase.says), element("p", { class: "fingerprint" }, spoken))] : [];
}

function evidenceRows({ evidence }) {
  const said = ({ name, detail }) =>
    [WORDS.evidence[name] ?? name, ...(detail === "" || detail === "declared" ? [] : [" (", foreign(detail), ")"])];
  const sorted = (given) => evidence.filter((item) => item.given === given).flatMap((item, i) => [...(i === 0 ? [] : ["; "]), ...said(item)]);
  return [[TERMS.given, sorted(true)], [TERMS.notGiven, sorted(false)]];
}

// Reason, evidence and steps; `more` comes between.
export function technicalPart(verdict, more = []) {
  const { reason, steps, outcome } = verdict;
  const reasons = outcome === "refused" ? [...reasonRows(reason), trustRow(verdict)] : [];
  return folded(TERMS.title, rows([...reasons, ...evidenceRows(verdict)]), ...more,
    ...(steps.length === 0 ? [] : [element("h3", {}, TERMS.steps), rows(steps.map(({ name, state }) => [name, WORDS.step[state]]))]));
}
