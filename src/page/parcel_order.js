// Ordering in the view "Send to the shop": options, questions, cautions, as the shop's sheet has them.

import { printable } from "./bytes.js";
import { cautionsToAccept, optionProblems, statedBy } from "./parcel_choice.js";
import { saying } from "./parcel_files.js";
import { WORDS } from "./words.js";
import { element } from "./dom.js";

const RADIOS_MOST = 6; // choices; more of them are a list to open

function tick(id, label, ...more) {
  const box = element("input", { type: "checkbox", id });
  const field = element("div", { class: "pcl-check" }, box, element("div", {}, element("label", { for: id }, label), ...more));
  return { box, field };
}

class OptionField {
  constructor(option, titleOf, onChange) {
    this.option = option;
    const id = `pcl-option-${option.name}`;
    const notes = element("p", { class: "pcl-hint", id: `${id}-notes` }, () => this.notes(titleOf));
    this.says = element("div", { "aria-live": "polite" });
    const purpose = option.purpose === "" ? [] : [element("p", { class: "pcl-purpose" }, printable(option.purpose, 4096))];
    Object.assign(this, tick(id, printable(option.title || option.name, 200), ...purpose, notes, this.says));
    this.field.classList.add("pcl-option");
    this.box.setAttribute("aria-describedby", notes.id);
    this.box.addEventListener("change", onChange);
  }

  notes(titleOf) {
    const { controllers, requires, excludes } = this.option;
    const names = (needs) => [...needs.options, ...needs.fuel, ...needs.hardware].map(titleOf);
    const [needed, excluded] = [names(requires), names(excludes)];
    return [WORDS.parcel.optionFor(controllers), needed.length === 0 ? "" : WORDS.parcel.optionNeeds(needed),
      excluded.length === 0 ? "" : WORDS.parcel.optionExcludes(excluded)].filter((text) => text !== "").join(" ");
  }

  show(order, stated, titleOf) {
    const { lacks, clashes } = this.box.checked ? optionProblems(this.option, order, stated) : { lacks: [], clashes: [] };
    const lines = [];
    if (lacks.length > 0) lines.push(() => WORDS.parcel.optionLacks(lacks.map(titleOf)));
    if (clashes.length > 0) lines.push(() => WORDS.parcel.optionClashes(clashes.map(titleOf)));
    this.says.replaceChildren(...lines.map((text) => saying("bad", text)));
  }
}

function choiceField({ name, text, required, choices }, legend) {
  const offered = required ? choices : [{ name: "", text: () => WORDS.parcel.noAnswer }, ...choices];
  const id = `pcl-answer-${name}`;
  const shown = ({ name: own, text: words }) => (typeof words === "function" ? words : printable(words || own, 200));
  if (choices.length > RADIOS_MOST) {
    const first = required ? [element("option", { value: "" }, "…")] : [];
    const select = element("select", { id }, ...first, ...offered.map((choice) => element("option", { value: choice.name }, shown(choice))));
    return { field: element("div", { class: "pcl-field" }, element("label", { for: id }, legend), select), value: () => select.value };
  }
  const radios = offered.map((choice, i) => element("input", { type: "radio", name: id, value: choice.name, id: i === 0 ? id : `${id}-${i}` }));
  if (!required) radios[0].checked = true;
  const rows = radios.map((radio, i) => element("div", { class: "pcl-check" }, radio, element("label", { for: radio.id }, shown(offered[i]))));
  const field = element("fieldset", { class: "pcl-question" }, element("legend", {}, legend), ...rows);
  return { field, value: () => radios.find((radio) => radio.checked)?.value ?? "" };
}

function questionField(question) {
  const legend = () => `${printable(question.text, 200)} ${question.required ? WORDS.parcel.required : WORDS.parcel.optional}`;
  if (question.kind === "choice") return choiceField(question, legend);
  const id = `pcl-answer-${question.name}`;
  const input = question.kind === "number" ? element("input", { type: "text", inputmode: "decimal", autocomplete: "off", id }) : element("textarea", { id, rows: "2" });
  return { field: element("div", { class: "pcl-field" }, element("label", { for: id }, legend), input), value: () => input.value.trim() };
}

function partOf(id, title, hint, ...children) {
  const hints = hint === "" ? [] : [element("p", { class: "pcl-hint" }, hint)];
  return element("section", { class: "pcl-part", "aria-labelledby": id }, element("h2", { id }, title), ...hints, ...children);
}

// Everything of a sheet; a new one is made for another sheet.
export class OrderPart {
  constructor(sheet, onChange) {
    this.sheet = sheet;
    this.onChange = onChange;
    this.titles = new Map([...sheet.questions.flatMap(({ choices }) => choices), ...sheet.options.map(({ name, title }) => ({ name, text: title }))]
      .map(({ name, text }) => [name, printable(text || name, 80)]));
    this.options = sheet.options.map((option) => new OptionField(option, this.titleOf, () => this.changed()));
    this.questions = sheet.questions.map((question) => ({ question, ...questionField(question) }));
    this.cautions = new Map(); // text to {box, field}
    this.cautionList = element("div", {});
    this.sections = this.makeSections();
    for (const { field } of this.questions) field.addEventListener("change", () => this.changed());
    this.show();
  }

  titleOf = (name) => this.titles.get(name) ?? name;

  makeSections() {
    const sections = [];
    if (this.options.length > 0) sections.push(partOf("pcl-order-title", () => WORDS.parcel.orderTitle, () => WORDS.parcel.orderHint, ...this.options.map(({ field }) => field)));
    if (this.questions.length > 0) sections.push(partOf("pcl-questions-title", () => WORDS.parcel.questionsTitle, "", ...this.questions.map(({ field }) => field)));
    this.cautionSection = partOf("pcl-cautions-title", () => WORDS.parcel.cautionsTitle, () => WORDS.parcel.cautionsHint, this.cautionList);
    return [...sections, this.cautionSection];
  }

  changed() {
    this.show();
    this.onChange();
  }

  order() {
    return this.options.filter(({ box }) => box.checked).map(({ option }) => option.name);
  }

  // By question, those that say something.
  answers() {
    return new Map(this.questions.map(({ question, value }) => [question.name, value()]).filter(([, answer]) => answer !== ""));
  }

  cautionTexts() {
    return cautionsToAccept(this.sheet, this.order());
  }

  accepted() {
    return this.cautionTexts().filter((text) => this.cautions.get(text)?.box.checked);
  }

  show() {
    const [order, stated] = [this.order(), statedBy(this.sheet.questions, this.answers())];
    for (const option of this.options) option.show(order, stated, this.titleOf);
    const texts = this.cautionTexts();
    for (const text of texts) if (!this.cautions.has(text)) this.cautions.set(text, tick(`pcl-caution-${this.cautions.size}`, printable(text, 1000)));
    this.cautionList.replaceChildren(...texts.map((text) => this.cautions.get(text).field));
    this.cautionSection.hidden = texts.length === 0;
  }

  // Where a person goes to mend what is missing.
  fieldOf({ kind, name }) {
    if (kind === "question") return document.getElementById(`pcl-answer-${name}`);
    return this.cautionTexts().map((text) => this.cautions.get(text).box).find((box) => !box.checked);
  }
}
