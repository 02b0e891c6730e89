// The view "Send to the shop": a customer chooses files, orders and writes, and gets one file to send. docs/parcel.md, docs/page.md.

import { printable } from "./bytes.js";
import { newCustomer, readCustomerFile } from "./customer_file.js";
import { element, foreign, phrase } from "./dom.js";
import { agreementPair } from "./hpke.js";
import { missingBefore, wantedReads } from "./parcel_choice.js";
import { LogsPart, ReadsPart, saying } from "./parcel_files.js";
import { OrderPart } from "./parcel_order.js";
import { describeReady } from "./parcel_ready.js";
import { PARCEL_TEXTS } from "./parcel_texts.js";
import { describeRefusal, Refusal } from "./reason.js";
import { readSheet } from "./sheet.js";
import { shownText } from "./shown.js";
import { readTrustFile } from "./trust.js";

const VIEW_HASH = "#send";

function fileField(id, label, hint, onFile) {
  const input = element("input", { id, type: "file", "aria-describedby": `${id}-hint ${id}-says` });
  const says = element("div", { id: `${id}-says`, "aria-live": "polite" });
  input.addEventListener("change", () => onFile(input.files[0] ?? null));
  const hints = element("p", { class: "pcl-hint", id: `${id}-hint` }, hint);
  return { field: element("div", { class: "pcl-field" }, element("label", { for: id }, label), input, hints, says), says, hints };
}

function textField(id, label, hint, input) {
  input.id = id;
  input.setAttribute("aria-describedby", `${id}-hint`);
  return element("div", { class: "pcl-field" }, element("label", { for: id }, label), input, element("p", { class: "pcl-hint", id: `${id}-hint` }, hint));
}

async function loadFile(file) {
  return { name: file.name, bytes: new Uint8Array(await file.arrayBuffer()) };
}

// What a person is told of a file that is not used.
function meaningOf(fault) {
  if (!(fault instanceof Refusal)) return PARCEL_TEXTS.failedFile;
  return PARCEL_TEXTS.plain[fault.code] ?? describeRefusal(fault).meaning;
}

class ParcelView {
  constructor(checker, trustFile, trust) {
    Object.assign(this, { checker, trustFile, trust, sheet: null, orderPart: null, customer: null, isNewKey: true, bundle: null, canClose: true, run: 0 });
    this.reads = new ReadsPart(checker, () => this.forget());
    this.logs = new LogsPart(() => this.forget());
    this.words = element("textarea", { rows: "5" });
    this.vehicle = element("input", { type: "text", autocomplete: "off" });
    this.sheetSays = element("div", { "aria-live": "polite" });
    this.orderSlot = element("div", {});
    this.ready = element("section", { class: "pcl-ready", "aria-labelledby": "pcl-ready-title", hidden: "" });
    this.problems = element("div", { class: "pcl-problems", tabindex: "-1", role: "group", "aria-labelledby": "pcl-problems-title", hidden: "" });
    this.status = element("p", { role: "status" });
    this.makeButton = element("button", { type: "submit", class: "pcl-major", id: "pcl-make" }, PARCEL_TEXTS.make);
  }

  // The whole view, once.
  build() {
    this.form = element("form", { novalidate: "", id: "pcl-form" }, this.sheetPart(), this.reads.section, this.logs.section, this.orderSlot, this.wordsPart(), this.morePart(),
      this.closePart(), this.problems, element("p", {}, this.makeButton), this.status);
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.make();
    });
    for (const kind of ["input", "change"]) this.form.addEventListener(kind, () => this.forget());
    return [
      element("p", {}, element("a", { href: "#", id: "pcl-back" }, "← ", PARCEL_TEXTS.back)),
      element("h1", { id: "pcl-title", tabindex: "-1" }, ...phrase(PARCEL_TEXTS.title("{shop}"), { shop: foreign(this.trust.shop) })),
      element("p", {}, PARCEL_TEXTS.lead), this.form, this.ready,
    ];
  }

  sheetPart() {
    this.sheetField = fileField("pcl-sheet", PARCEL_TEXTS.sheetField, PARCEL_TEXTS.sheetNone, (file) => this.chooseSheet(file));
    this.sheetFold = element("div", {}, this.sheetField.field);
    return element("section", { class: "pcl-part", "aria-labelledby": "pcl-sheet-title" }, element("h2", { id: "pcl-sheet-title" }, PARCEL_TEXTS.sheetTitle), this.sheetSays, this.sheetFold);
  }

  wordsPart() {
    return element("section", { class: "pcl-part", "aria-labelledby": "pcl-words-title" }, element("h2", { id: "pcl-words-title" }, PARCEL_TEXTS.wordsTitle),
      textField("pcl-words", PARCEL_TEXTS.wordsField, PARCEL_TEXTS.wordsHint, this.words),
      textField("pcl-vehicle", PARCEL_TEXTS.vehicleField, PARCEL_TEXTS.vehicleHint, this.vehicle));
  }

  morePart() {
    this.customerField = fileField("pcl-customer", PARCEL_TEXTS.customerField, PARCEL_TEXTS.customerHint, (file) => this.chooseCustomer(file));
    this.bundleField = fileField("pcl-bundle", PARCEL_TEXTS.bundleField, PARCEL_TEXTS.bundleHint, (file) => this.chooseBundle(file));
    return element("section", { class: "pcl-part", "aria-labelledby": "pcl-more-title" }, element("h2", { id: "pcl-more-title" }, PARCEL_TEXTS.moreTitle), this.customerField.field,
      this.bundleField.field);
  }

  closePart() {
    this.openBox = element("input", { type: "checkbox", id: "pcl-open-box" });
    this.closeSection = element("section", { class: "pcl-part pcl-warning", hidden: "" }, element("p", {}, PARCEL_TEXTS.cannotClose),
      element("div", { class: "pcl-check" }, this.openBox, element("label", { for: "pcl-open-box" }, PARCEL_TEXTS.sendOpen)));
    return this.closeSection;
  }

  // Files that say something themselves.

  async useSheet(bytes, name) {
    const sheet = await readSheet(bytes, this.trust, name);
    if (this.sheet !== null && sheet.number < this.sheet.number) {
      this.sheetField.says.replaceChildren(saying("bad", PARCEL_TEXTS.sheetOlder(sheet.number, this.sheet.number)));
      return;
    }
    const had = this.orderPart !== null;
    this.sheet = sheet;
    this.orderPart = new OrderPart(sheet, () => this.forget());
    this.orderSlot.replaceChildren(...this.orderPart.sections);
    const lines = [saying("good", phrase(PARCEL_TEXTS.sheetHave("{shop}", sheet.number, sheet.claimed_time), { shop: foreign(this.trust.shop, 80) }))];
    if (had) lines.push(saying("wait", PARCEL_TEXTS.sheetChanged));
    this.sheetSays.replaceChildren(...lines);
    this.sheetField.says.replaceChildren();
    this.sheetField.hints.textContent = "";
    this.sheetFold.replaceWith(this.sheetFold = element("details", {}, element("summary", {}, PARCEL_TEXTS.sheetNewer), this.sheetField.field));
    this.canClose = sheet.parcel_key === "" || (await this.tryClosing());
    this.closeSection.hidden = this.canClose;
    await this.reads.setWanted(sheet.reads);
  }

  async tryClosing() {
    try {
      await agreementPair();
      return true;
    } catch {
      return false;
    }
  }

  async chooseSheet(file) {
    if (file === null) return;
    try {
      const { bytes, name } = await loadFile(file);
      await this.useSheet(bytes, name);
    } catch (fault) {
      this.sheetField.says.replaceChildren(saying("bad", PARCEL_TEXTS.sheetBad(meaningOf(fault))));
    }
  }

  async chooseCustomer(file) {
    this.customer = null;
    this.isNewKey = true;
    this.customerField.says.replaceChildren();
    if (file === null) return;
    try {
      const { bytes, name } = await loadFile(file);
      this.customer = await readCustomerFile(bytes, name);
      this.isNewKey = this.customer.number === 0;
      this.customerField.says.replaceChildren(saying("good", PARCEL_TEXTS.customerGood(this.customer.number)));
    } catch (fault) {
      this.customerField.says.replaceChildren(saying("bad", PARCEL_TEXTS.customerBad(meaningOf(fault))));
    }
  }

  async chooseBundle(file) {
    const says = this.bundleField.says;
    this.bundle = null;
    says.replaceChildren();
    this.logs.setBundle(null);
    if (file === null) return;
    try {
      says.replaceChildren(saying("wait", PARCEL_TEXTS.moment));
      const verdict = await this.checker.check({ bundle: await loadFile(file), trust: this.trustFile, sealOnly: true, now: timeText() });
      if (verdict.outcome !== "authentic") throw new Refusal(verdict.reason.code, verdict.reason);
      const { job, revision, controllers, vehicle_reference: vehicle } = verdict.manifest;
      const text = PARCEL_TEXTS.revision({ controller: controllers[0].name, revision });
      this.bundle = { job, digest: verdict.manifestDigest, text };
      if (this.vehicle.value === "") this.vehicle.value = vehicle;
      this.logs.setBundle(this.bundle);
      says.replaceChildren(saying("good", PARCEL_TEXTS.bundleGood(job, text)));
    } catch (fault) {
      says.replaceChildren(saying("bad", PARCEL_TEXTS.bundleBad(meaningOf(fault))));
    }
  }

  // Making.

  // A parcel is of what was chosen when it was made.
  forget() {
    ++this.run;
    this.problems.hidden = true;
    this.makeButton.disabled = false;
    if (this.ready.hidden) {
      this.status.textContent = "";
      return;
    }
    this.ready.hidden = true;
    this.ready.replaceChildren();
    this.status.textContent = PARCEL_TEXTS.changed;
  }

  choice() {
    const [reads, logs] = [this.reads.reads(), this.logs.logs()];
    const files = [...reads, ...logs].map(({ file }) => ({ name: file.name, size: file.size }));
    return {
      reads: reads.length, logs: logs.length, files, series: reads.map(({ series }) => series), order: this.orderPart?.order() ?? [],
      answers: this.orderPart?.answers() ?? new Map(), accepted: new Set(this.orderPart?.accepted() ?? []), words: this.words.value.trim() === "" ? "" : this.words.value,
      vehicle: this.vehicle.value.trim(), canClose: this.canClose, sendOpen: this.openBox.checked,
    };
  }

  wish() {
    const { order, answers, words, vehicle } = this.choice();
    return {
      claimedTime: timeText(), root: this.trust.rootId, sheet: this.sheet?.digest ?? "", job: this.bundle?.job ?? "", vehicleReference: vehicle, words, order,
      answers: [...answers].map(([question, answer]) => ({ question, answer })), accepted: this.orderPart?.accepted() ?? [],
      reads: this.reads.reads(), logs: this.logs.logs(), tool: document.body.dataset.tool ?? "calseal (page)",
    };
  }

  problemField(problem) {
    const ids = { nothing: "pcl-add-reads", close: "pcl-open-box", words: "pcl-words", vehicle: "pcl-vehicle", logs: "pcl-add-logs" };
    if (problem.kind === "question" || problem.kind === "cautions") return this.orderPart.fieldOf(problem);
    const id = ids[problem.kind] ?? ids[problem.what] ?? (problem.kind === "long" ? `pcl-${problem.what}` : "pcl-add-reads");
    return document.getElementById(id);
  }

  problemText(problem) {
    const { kind, text, count, what, most } = problem;
    const labels = { words: PARCEL_TEXTS.wordsTitle, vehicle: PARCEL_TEXTS.vehicleField };
    const texts = {
      nothing: () => PARCEL_TEXTS.problemEmpty, question: () => PARCEL_TEXTS.problemQuestion(printable(text)), cautions: () => PARCEL_TEXTS.problemCautions(count),
      long: () => PARCEL_TEXTS.problemLong(labels[what] ?? what, most), many: () => PARCEL_TEXTS.problemMany(what, most), close: () => PARCEL_TEXTS.problemClose,
      large: () => PARCEL_TEXTS.problemLarge(printable(what, 80), most), together: () => PARCEL_TEXTS.problemTogether(most),
    };
    return texts[kind]();
  }

  showProblems(problems) {
    const rows = problems.map((problem) => {
      const go = element("button", { type: "button", class: "pcl-link" }, this.problemText(problem));
      go.addEventListener("click", () => this.problemField(problem).focus());
      return element("li", {}, go);
    });
    this.tellProblem(PARCEL_TEXTS.problems(problems.length), element("ul", {}, ...rows));
  }

  tellProblem(title, ...more) {
    this.problems.replaceChildren(element("h2", { id: "pcl-problems-title" }, element("span", { "aria-hidden": "true" }, "! "), title), ...more);
    this.problems.hidden = false;
    this.problems.focus();
  }

  async make() {
    this.forget();
    const problems = missingBefore(this.choice(), this.sheet);
    if (problems.length > 0) {
      this.showProblems(problems);
      return;
    }
    const run = this.run;
    this.makeButton.disabled = true;
    this.status.textContent = PARCEL_TEXTS.making;
    const parcelKey = this.openBox.checked && !this.canClose ? "" : this.sheet?.parcel_key ?? "";
    this.customer ??= newCustomer();
    const request = { wish: this.wish(), customer: this.customer, parcelKey, wanted: this.sheet?.reads ?? [] };
    const made = await this.pack(request, (index, count) => {
      if (run === this.run) this.status.textContent = PARCEL_TEXTS.packing(index, count);
    });
    if (run !== this.run) return;
    this.makeButton.disabled = false;
    this.status.textContent = "";
    if (made.refused) this.tellProblem(PARCEL_TEXTS.failed(failedText(made.refused)));
    else this.showReady(made, parcelKey !== "");
  }

  async pack(request, onPacking) {
    try {
      return await this.checker.pack(request, (_, [index, count]) => onPacking(index, count));
    } catch (fault) {
      return { refused: { code: "out-of-memory", meaning: String(fault) } };
    }
  }

  showReady(made, closed) {
    this.customer = made.customer;
    const questions = new Map((this.sheet?.questions ?? []).map(({ name, text }) => [name, printable(text)]));
    const missing = wantedReads(this.sheet?.reads ?? [], this.reads.places()).filter(({ count }) => count === 0);
    const about = {
      shop: foreign(this.trust.shop), closed, isNewKey: this.isNewKey, titleOf: this.orderPart?.titleOf ?? ((name) => name),
      titles: new Map((this.sheet?.reads ?? []).map(({ controller, title }) => [controller, printable(title || controller, 80)])),
      missing: missing.map(({ title, memory }) => PARCEL_TEXTS.memoryPlace(printable(title, 80), memory)), questionOf: (name) => questions.get(name) ?? name,
    };
    this.ready.replaceChildren(...describeReady(made, about));
    this.ready.hidden = false;
    document.getElementById("pcl-ready-title").focus();
  }
}

function timeText() {
  return `${new Date().toISOString().slice(0, 19)}Z`;
}

function failedText({ code, meaning }) {
  if (code === "file-unreadable") return PARCEL_TEXTS.failedFile;
  return code === "out-of-memory" ? PARCEL_TEXTS.failedMemory : meaning;
}

// Which of the two views is open stands in the address, so that the browser's own way back works.
function followAddress(section, title) {
  const open = document.getElementById("pcl-open");
  const first = document.title;
  let shown = false;
  const follow = () => {
    const wanted = location.hash === VIEW_HASH;
    document.body.classList.toggle("pcl-on", wanted);
    section.hidden = !wanted;
    document.title = wanted ? title : first;
    if (wanted) document.getElementById("pcl-title").focus();
    else if (shown) open.focus();
    if (wanted !== shown) scrollTo(0, 0);
    shown = wanted;
  };
  addEventListener("hashchange", follow);
  open.parentElement.hidden = false;
  follow();
}

// `sheet` are the bytes of the sheet in this page, none where there is none.
export async function startParcelView(checker, trustFile, sheet) {
  const section = document.getElementById("pcl");
  let trust;
  try {
    trust = await readTrustFile(trustFile.bytes, "", trustFile.name);
  } catch {
    section.replaceChildren(element("h1", { id: "pcl-title", tabindex: "-1" }, PARCEL_TEXTS.noTrust), element("p", {}, element("a", { href: "#" }, PARCEL_TEXTS.back)));
    followAddress(section, document.title);
    return;
  }
  const view = new ParcelView(checker, trustFile, trust);
  section.replaceChildren(...view.build());
  followAddress(section, PARCEL_TEXTS.title(shownText(trust.shop)));
  if (sheet.length === 0) return;
  try {
    await view.useSheet(sheet, "the sheet in this page");
  } catch (fault) {
    view.sheetSays.replaceChildren(saying("bad", meaningOf(fault)));
  }
}
