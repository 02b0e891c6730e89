// A verdict as a person reads it. Texts of files enter as text, never as markup.

import { bytesText, grouped } from "./bytes.js";
import { element, foreign, foreignLines } from "./dom.js";
import { shownText } from "./shown.js";

const OUTCOMES = {
  accepted: { sign: "✓", word: "Accepted" },
  refused: { sign: "✕", word: "Refused" },
  authentic: { sign: "◐", word: "Authentic" },
};
const VEHICLE_WORDS = {
  "proved": "proved: its own fields are those that the shop sealed",
  "by-reference": "by the reference that you typed; no byte proves it",
  "asserted": "on your word alone; there was no read",
  "none": "not looked at",
};
const PASSAGE_WORDS = {
  unknown: "no earlier revision known here to compare with",
  newer: "newer than everything accepted before",
  newest: "the newest one accepted before, again",
  return: "an earlier revision, permitted by the newest one",
  "way-back": "the way back, revision 0",
};
const EVIDENCE_WORDS = {
  "trust-file": "trust file", "root-fingerprint": "fingerprint of the root", "succession": "succession of the root", "read": "read",
  "read-is-fresh": "word that the read is fresh", "salt": "salt", "vehicle-reference": "vehicle reference", "state": "state",
  "withdrawals": "list of withdrawals", "job-list": "list of revisions", "inclusion": "proof of inclusion", "partners": "bundles of the set",
  "newest": "newest bundle", "return": "word to go back", "revive": "word that the controller cannot be read",
  "old-base": "word that the controller has this base", "clock-is-right": "word that the clock is right",
};
// Usual cautions of the trade (common practice, no source), in the words of the other checker.
const STANDING_CAUTIONS = [
  "Only on the vehicle that this read came from, standing still, with the ignition as your writer asks for.",
  "Hold the supply voltage with a charger made for it; a write that stops half way can leave the controller dead.",
  "Keep the first read and revision 0 in two places; they are the way back.",
  "After writing: read back, compare, clear no fault codes unseen, and drive the first minutes gently.",
  "A changed calibration can damage engine or transmission and can end warranty, type approval and insurance.",
  "Emissions and road use: the law of your country decides. Have the work done and judged by licensed people.",
];

// What docs/proof.md calls the word of the shop is marked, so that nobody takes it for proved.
const SHOP_WORD = "shop's word";
const SHOP_WORD_MEANS = `What is marked “${SHOP_WORD}” the shop has signed, and no byte proves it. The other rows were checked here.`;

function shopMark(attributes = {}) {
  return element("span", { class: "word", ...attributes }, SHOP_WORD);
}

// Rows are [term, value], and true as third where the value is the shop's word. A value is a text, an element, or a list of both.
function list(rows) {
  const shown = rows.filter(([, value]) => value !== "" && value.length !== 0);
  return element("dl", {}, ...shown.flatMap(([term, value, isWord]) =>
    [element("dt", {}, term, ...(isWord ? [" ", shopMark()] : [])), element("dd", {}, ...[value].flat())]));
}

// Foreign texts behind one another, each for itself.
function joined(mark, ...texts) {
  return texts.filter((text) => text !== "").flatMap((text, i) => [...(i === 0 ? [] : [mark]), foreign(text)]);
}

function reasonRows({ code, file, place, found, expected, next }) {
  const long = (text) => (text === "" ? "" : foreign(text, 1000));
  return [["Where", joined(": ", file, place)], ["Found", long(found)], ["Expected", long(expected)], ["What to do", long(next)],
    ["Reason code", element("span", { class: "code" }, code)]];
}

// Nothing where the trust file itself was not believed, or nothing was judged.
function trustRow({ trustVersion, trustTime }) {
  return ["Trust file", trustVersion ? `version ${trustVersion} of ${trustTime} (claimed)` : ""];
}

function revisionRows(verdict) {
  const { manifest, signers, shop } = verdict;
  const [controller] = manifest.controllers;
  return [trustRow(verdict), ["Sealed by", [foreign(shop), ": ", ...joined(", ", ...signers)]], ["Controller", controller.name], ["When", manifest.claimed_time, true],
    ["Job", manifest.job, true], ["Revision", joined(": ", String(manifest.revision), manifest.title), true],
    ["For the vehicle", manifest.vehicle_reference === "" ? "" : foreign(manifest.vehicle_reference), true]];
}

// What the seal says, below the chosen bundle.
export function showSeal(verdict) {
  if (verdict.outcome === "authentic") {
    return [element("div", { class: "verdict authentic" },
      element("h3", {}, "The seal holds"),
      element("p", {}, "Only the seal was looked at. Nothing may be written on the strength of it: give the read below and check."),
      element("p", { class: "hint" }, SHOP_WORD_MEANS),
      list([...revisionRows(verdict), ["Check phrase", element("span", { class: "code" }, verdict.phrase)]]))];
  }
  return [element("div", { class: "verdict refused" }, element("h3", {}, "Refused: the seal or the bundle is not good"),
    element("p", {}, verdict.reason.meaning), list([...reasonRows(verdict.reason), trustRow(verdict)]))];
}

function nameToSave({ source, memory, form }, { revision, controllers }) {
  const ending = { "intel-hex": ".hex", "s-record": ".s19" }[form] ?? ".bin";
  const whole = source === "" ? `${controllers[0].name}-${memory}${ending}` : source;
  const [, stem, extension] = /^(.*?)(\.[A-Za-z0-9]{1,8})?$/.exec(whole);
  return `${stem}-revision-${revision}${extension ?? ""}`;
}

function saveBytes(name, bytes) {
  const url = URL.createObjectURL(new Blob([bytes], { type: "application/octet-stream" }));
  const link = element("a", { href: url, download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 60000);
}

function saveButton(label, name, bytes) {
  const button = element("button", { type: "button", "aria-describedby": "save-hint" }, ...label);
  button.addEventListener("click", () => saveBytes(name, bytes));
  return button;
}

function cautionField(box, { code, text }) {
  const label = element("label", { for: box.id }, foreign(text, 1000));
  if (code !== "shop") return element("div", { class: "field check" }, box, label);
  const mark = shopMark({ id: `${box.id}-word` });
  box.setAttribute("aria-describedby", mark.id);
  return element("div", { class: "field check" }, box, element("div", {}, label, " ", mark));
}

// What is there to be saved, as buttons. A memory in which nothing changes is no file to write: writing it would be a risk for nothing.
function saves(verdict) {
  const buttons = verdict.files.filter(({ stays }) => !stays).map((file) => {
    const name = nameToSave(file, verdict.manifest);
    return saveButton(["Save ", file.memory === "" ? "the image" : file.memory, " as ", foreign(name)], name, file.bytes);
  });
  if (verdict.stateAfterWrite !== "") {
    const state = new TextEncoder().encode(verdict.stateAfterWrite);
    buttons.push(saveButton([buttons.length === 0 ? "Save the new state" : "Save the new state, after the image"], "checker.state", state));
  }
  return buttons;
}

const writesNothing = ({ files }) => files.every(({ stays }) => stays);

// Said of each memory that stays as it is; of all together where none changes.
function stayingPart(verdict) {
  if (writesNothing(verdict)) return [element("p", { class: "stays" }, "Nothing is to be written: the read that you gave already holds this revision, byte for byte.")];
  return verdict.files.filter(({ stays }) => stays).map(({ memory, source }) => element("p", { class: "stays" },
    ...(memory === "" ? ["The file ", foreign(source)] : [`Memory ${memory}`]), " stays as it is: not one byte of it changes. Do not write it."));
}

// Cautions to tick, then what is saved; the buttons wake when every box is ticked.
function savingPart(verdict) {
  const buttons = saves(verdict);
  if (buttons.length === 0) return [...stayingPart(verdict), ...cautionList(verdict)];
  const writes = !writesNothing(verdict);
  const cautions = writes ? [...verdict.cautions, { code: "", text: "I have read what is below, and it is so." }] : verdict.cautions;
  const boxes = cautions.map((_, i) => element("input", { type: "checkbox", id: `caution-${i}` }));
  const hint = element("p", { class: "hint", id: "save-hint" });
  const wake = () => {
    const left = boxes.filter((box) => !box.checked).length;
    for (const button of buttons) button.disabled = left > 0;
    hint.textContent = left === 0 ? "All cautions are confirmed." : `Confirm the cautions above first: ${left} left.`;
  };
  boxes.forEach((box) => box.addEventListener("change", wake));
  wake();
  return [
    element("fieldset", { class: "cautions" }, element("legend", {}, writes ? "Before you write: confirm each" : "Before you save: confirm each"),
      ...boxes.map((box, i) => cautionField(box, cautions[i])),
      ...(writes ? [element("ul", {}, ...STANDING_CAUTIONS.map((text) => element("li", {}, text)))] : [])),
    hint,
    element("ul", { class: "plain" }, ...buttons.map((button) => element("li", {}, button))),
    ...stayingPart(verdict),
  ];
}

// What the shop says of its work.
function workRows({ options, requirements, notes }) {
  const lines = (texts) => {
    const list = element("ul", { class: "plain" }, ...texts.map((text) => element("li", {}, text)));
    return texts.length <= 8 ? list : element("details", {}, element("summary", {}, `${grouped(texts.length)} of them`), list);
  };
  const named = ({ name, title }) => foreign(title === "" ? name : title);
  return [["Options", options.length === 0 ? "" : lines(options.map(named)), true],
    ...requirements.map((text) => ["Requires", foreign(text), true]), ["Notes", notes === "" ? "" : foreignLines(notes), true]];
}

function setRows(verdict) {
  if (verdict.partners.length === 0) return [];
  const names = verdict.partners.map(({ controller, given }) => `${controller}${given ? "" : " (missing)"}`).join(", then ");
  const between = verdict.drivableBetween ? "may be driven in between" : "not to be driven in between";
  return [["Set, in the order of writing", `${names}; ${between}`, true]];
}

// Never more than was proved: a checksum over bytes that nobody read is not provable, and never counts as holding.
function checksWords({ controllers: [{ checksums }] }) {
  const holding = checksums.filter((check) => check.state === "holds").length;
  if (checksums.length === 0) return "The map declares no checksum.";
  if (holding === checksums.length) return "Every checksum that the map declares holds.";
  return `Of ${checksums.length} checksums that the map declares, ${holding} hold; the others are not provable or did not hold in the first read.`;
}

// Without a read there is only the first one, which the bundle carries.
function rebuiltWords({ vehicle, shop, manifest }) {
  const { region_map: map } = manifest.controllers[0];
  const areas = `only within the areas declared by region map ${map.name} (${map.grade})`;
  return vehicle === "asserted"
    ? ["This bundle is what ", foreign(shop), ` sealed. The image is the first read that it carries, and differs from that ${areas}.`]
    : ["This bundle is what ", foreign(shop), ` sealed, for the software in your read. The rebuilt image differs from the read ${areas}.`];
}

const sentence = (text) => `${text[0].toUpperCase()}${shownText(text, 1000).slice(1)}.`;

// What the shop's rules allow now and did not before comes before everything else.
function rulesPart({ reason, cautions }) {
  const text = reason === null ? cautions.find(({ code }) => code === "rules-widened")?.text ?? "" : reason.code.startsWith("rules-") ? reason.found : "";
  return text === "" ? [] : [element("p", { class: "rules" }, sentence(text))];
}

function acceptedPart(verdict) {
  const { manifest } = verdict;
  return [
    element("p", {}, ...rebuiltWords(verdict), " ", checksWords(manifest)),
    element("p", { class: "hint" }, SHOP_WORD_MEANS),
    list([...revisionRows(verdict), ["Your vehicle", VEHICLE_WORDS[verdict.vehicle]], ["Order", PASSAGE_WORDS[verdict.passage]],
      ...setRows(verdict), ["Bytes to change", bytesText(verdict.bytesToChange)],
      ["Editable share", `${(verdict.editableShare / 100).toFixed(2)} % of the image`], ...workRows(manifest)]),
    ...savingPart(verdict),
  ];
}

function refusedPart(verdict) {
  return [element("p", {}, `${verdict.reason.meaning} Nothing was built, and nothing may be written.`),
    list([...reasonRows(verdict.reason), trustRow(verdict)])];
}

function phrasePart({ phrase }) {
  if (!phrase) return [];
  return [element("h3", {}, "Check phrase"),
    element("p", {}, "The shop can read the same code from its own copy of the bundle:"),
    element("p", { class: "fingerprint" }, phrase)];
}

function evidencePart({ evidence }) {
  if (evidence.length === 0) return [];
  const said = ({ name, detail }) =>
    [EVIDENCE_WORDS[name] ?? name, ...(detail === "" || detail === "declared" ? [] : [" (", foreign(detail), ")"])];
  const sorted = (given) => evidence.filter((item) => item.given === given).flatMap((item, i) => [...(i === 0 ? [] : ["; "]), ...said(item)]);
  return [element("h3", {}, "What was given"), list([["Given", sorted(true)], ["Not given", sorted(false)]])];
}

function stepsPart({ steps }) {
  if (steps.length === 0) return [];
  const signs = { passed: "✓ passed", failed: "✕ failed", "not-reached": "– not reached", "not-asked": "– not asked" };
  return [element("details", {}, element("summary", {}, "Every check, in its order"),
    list(steps.map(({ name, state }) => [name, signs[state]])))];
}

// Cautions where there is nothing to be saved.
function cautionList({ cautions }) {
  if (cautions.length === 0) return [];
  const items = cautions.map(({ code, text }) => element("li", {}, foreign(text, 1000), ...(code === "shop" ? [" ", shopMark()] : [])));
  return [element("h3", {}, "Also to know"), element("ul", {}, ...items)];
}

export function describeVerdict(verdict) {
  const { sign, word } = OUTCOMES[verdict.outcome];
  const cautions = verdict.outcome === "refused" ? cautionList(verdict) : [];
  return element("div", { class: `verdict ${verdict.outcome}` },
    element("h2", { id: "verdict-title", tabindex: "-1" }, element("span", { class: "sign", "aria-hidden": "true" }, sign), word),
    ...rulesPart(verdict),
    ...(verdict.outcome === "accepted" ? acceptedPart(verdict) : refusedPart(verdict)),
    ...cautions, ...phrasePart(verdict), ...evidencePart(verdict), ...stepsPart(verdict));
}
