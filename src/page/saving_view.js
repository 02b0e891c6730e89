// From an accepted verdict to files: what a person confirms, what may be saved, and what is to be left alone.

import { countText, signedTimeText } from "./amounts.js";
import { utf8 } from "./bytes.js";
import { element, foreign } from "./dom.js";
import { keptNotes, keptRows } from "./kept_view.js";
import { phrase } from "./phrase.js";
import { shopMark } from "./rows_view.js";
import { saveRow } from "./save_button.js";
import { WORDS } from "./words.js";

function nameToSave({ source, memory, form }, { revision, controllers }) {
  const ending = { "intel-hex": ".hex", "s-record": ".s19" }[form] ?? ".bin";
  const whole = source === "" ? `${controllers[0].name}-${memory}${ending}` : source;
  const [, stem, extension] = /^(.*?)(\.[A-Za-z0-9]{1,8})?$/.exec(whole);
  return `${stem}-revision-${revision}${extension ?? ""}`;
}

// What is there to be saved, {button, item}. A memory in which nothing changes is no file to write: writing it would be a risk for nothing.
function saves(verdict, kept) {
  const { save } = WORDS;
  const rows = verdict.files.filter(({ stays }) => !stays).map((file) => {
    const name = nameToSave(file, verdict.manifest);
    const label = phrase(save.file, { memory: file.memory === "" ? save.image : file.memory, name: foreign(name) });
    return saveRow({ label, name, bytes: file.bytes, hint: save.size });
  });
  const isAfter = rows.length > 0;
  if (verdict.stateAfterWrite !== "" && !kept?.keepsState) {
    rows.push(saveRow({ label: [isAfter ? save.stateAfter : save.state], name: "checker.state", bytes: utf8(verdict.stateAfterWrite), hint: save.keep }));
  }
  return [...rows, ...keptRows(kept, verdict, isAfter)];
}

// Which controller of a set comes first, and what may be done in between.
function orderPart({ partners, drivableBetween, manifest }) {
  if (partners.length === 0) return [];
  const { save } = WORDS;
  const names = { controllers: partners.map(({ controller }) => controller).join(save.then), controller: manifest.controllers[0].name };
  return [element("p", { class: "order" }, ...phrase(save.order, names), " ", drivableBetween ? save.between : save.notBetween)];
}

function revisionPhrase({ phrase: spoken }) {
  return [element("p", {}, WORDS.save.phrase), element("p", { class: "fingerprint" }, spoken)];
}

function confirmLink(toConfirm) {
  const button = element("button", { type: "button", class: "plain" }, WORDS.save.toConfirm);
  button.addEventListener("click", toConfirm);
  return element("p", {}, WORDS.save.afterwards, " ", button);
}

export function writesNothing({ files }) {
  return files.every(({ stays }) => stays);
}

// Said of each memory that stays as it is; where none changes the verdict itself says so.
function stayingPart(verdict) {
  if (writesNothing(verdict)) return [];
  return verdict.files.filter(({ stays }) => stays).map(({ memory, source }) => element("p", { class: "stays" },
    ...(memory === "" ? phrase(WORDS.save.fileStays, { name: foreign(source) }) : phrase(WORDS.save.stays, { memory }))));
}

// A caution in the words of the page; what the shop wrote stays as written.
function cautionWords({ code, text, parts, says = code }) {
  const words = WORDS.cautions[says];
  if (words === undefined) return [foreign(text, 1000)];
  return phrase(words, Object.fromEntries(Object.entries(parts).map(([name, value]) => [name, partText(value)])));
}

const SIGNED_TIME = /^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ$/;

function partText(value) {
  if (typeof value === "number") return countText(value);
  return SIGNED_TIME.test(value) ? signedTimeText(value) : foreign(value, 1000);
}

function cautionField(box, { code, text }) {
  box.setAttribute("data-caution", code);
  const label = element("label", { for: box.id }, ...text);
  if (code !== "shop") return element("div", { class: "field check" }, box, label);
  const mark = shopMark({ id: `${box.id}-word` });
  box.setAttribute("aria-describedby", mark.id);
  return element("div", { class: "field check" }, box, element("div", {}, label, " ", mark));
}

// Cautions where there is nothing to be saved.
export function cautionList({ cautions }) {
  if (cautions.length === 0) return [];
  const items = cautions.map((caution) => element("li", { "data-caution": caution.code }, ...cautionWords(caution), ...(caution.code === "shop" ? [" ", shopMark()] : [])));
  return [element("h3", {}, WORDS.alsoToKnow), element("ul", {}, ...items)];
}

// Cautions to tick, then what is saved; the buttons wake when every box is ticked.
export function savingPart(verdict, toConfirm, kept) {
  const { save } = WORDS;
  const rows = saves(verdict, kept);
  if (rows.length === 0) return cautionList(verdict);
  const writes = !writesNothing(verdict);
  const own = verdict.cautions.map((caution) => ({ code: caution.code, text: cautionWords(caution) }));
  const cautions = writes ? [...own, { code: "", text: [save.read] }] : own;
  const boxes = cautions.map((_, i) => element("input", { type: "checkbox", id: `caution-${i}` }));
  const hint = element("p", { class: "hint", id: "save-hint" });
  const wake = () => {
    const left = boxes.filter((box) => !box.checked).length;
    for (const { button } of rows) button.disabled = left > 0;
    hint.replaceChildren(...(left === 0 ? [save.none] : phrase(save.left, { count: String(left) })));
  };
  boxes.forEach((box) => box.addEventListener("change", wake));
  wake();
  return [
    element("fieldset", { class: "cautions" }, element("legend", {}, writes ? save.write : save.save),
      ...(writes ? [element("ul", { class: "usual" }, ...WORDS.usual.beforeList.map((text) => element("li", {}, text)))] : []), ...boxes.map((box, i) => cautionField(box, cautions[i]))),
    ...(writes ? [element("h3", {}, save.title), ...orderPart(verdict), ...revisionPhrase(verdict)] : []),
    hint,
    element("ul", { class: "plain saves" }, ...rows.map(({ item }) => item)),
    ...keptNotes(kept),
    ...stayingPart(verdict),
    ...(writes ? [confirmLink(toConfirm)] : []),
  ];
}
