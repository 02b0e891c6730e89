// The view "Send to the shop": a customer chooses files, orders and writes, and gets one file to send. docs/parcel.md, docs/page.md.

import { printable, utf8 } from "./bytes.js";
import { CUSTOMER_NAME, newCustomer, readCustomerFile } from "./customer_file.js";
import { element, foreign, tell } from "./dom.js";
import { filled, phrase } from "./phrase.js";
import { agreementPair } from "./hpke.js";
import { missingBefore, wantedReads } from "./parcel_choice.js";
import { LogsPart, ReadsPart, saying } from "./parcel_files.js";
import { OrderPart } from "./parcel_order.js";
import { describeReady } from "./parcel_ready.js";
import { WORDS } from "./words.js";
import { Refusal } from "./reason.js";
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
  if (!(fault instanceof Refusal)) return WORDS.parcel.failedFile;
  return WORDS.parcel.plain[fault.code] ?? WORDS.reasons[fault.code].says;
}

class ParcelView {
  constructor(checker, trustFile, trust, own) {
    Object.assign(this, { checker, trustFile, trust, own, sheet: null, orderPart: null, fresh: null, isNewKey: false, bundle: null, canClose: true, run: 0 });
    this.reads = new ReadsPart(checker, () => this.forget());
    this.logs = new LogsPart(() => this.forget());
    this.words = element("textarea", { rows: "5" });
    this.vehicle = element("input", { type: "text", autocomplete: "off" });
    this.sheetSays = element("div", { "aria-live": "polite" });
    this.orderSlot = element("div", {});
    this.ready = element("section", { class: "pcl-ready", "aria-labelledby": "pcl-ready-title", hidden: "" });
    this.problems = element("div", { class: "pcl-problems", tabindex: "-1", role: "group", "aria-labelledby": "pcl-problems-title", hidden: "" });
    this.status = element("p", { role: "status" });
    this.title = element("h1", { id: "pcl-title", tabindex: "-1" });
    tell(this.title, () => phrase(WORDS.parcel.title("{shop}"), { shop: foreign(trust.shop) }));
    this.makeButton = element("button", { type: "submit", class: "pcl-major", id: "pcl-make" }, () => WORDS.parcel.make);
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
      element("p", {}, element("a", { href: "#", id: "pcl-back" }, "← ", () => WORDS.parcel.back)),
      this.title,
      element("p", {}, () => WORDS.parcel.lead), this.form, this.ready,
    ];
  }

  sheetPart() {
    this.sheetField = fileField("pcl-sheet", () => WORDS.parcel.sheetField, () => WORDS.parcel.sheetNone, (file) => this.chooseSheet(file));
    this.sheetFold = element("div", {}, this.sheetField.field);
    return element("section", { class: "pcl-part", "aria-labelledby": "pcl-sheet-title" }, element("h2", { id: "pcl-sheet-title" }, () => WORDS.parcel.sheetTitle), this.sheetSays, this.sheetFold);
  }

  wordsPart() {
    return element("section", { class: "pcl-part", "aria-labelledby": "pcl-words-title" }, element("h2", { id: "pcl-words-title" }, () => WORDS.parcel.wordsTitle),
      textField("pcl-words", () => WORDS.parcel.wordsField, () => WORDS.parcel.wordsHint, this.words),
      textField("pcl-vehicle", () => WORDS.parcel.vehicleField, () => WORDS.parcel.vehicleHint, this.vehicle));
  }

  morePart() {
    this.customerField = fileField("pcl-customer", () => WORDS.parcel.customerField, () => WORDS.parcel.customerHint, (file) => this.chooseCustomer(file));
    this.bundleField = fileField("pcl-bundle", () => WORDS.parcel.bundleField, () => WORDS.parcel.bundleHint, (file) => this.chooseBundle(file));
    return element("section", { class: "pcl-part", "aria-labelledby": "pcl-more-title" }, element("h2", { id: "pcl-more-title" }, () => WORDS.parcel.moreTitle), this.customerField.field,
      this.bundleField.field);
  }

  closePart() {
    this.openBox = element("input", { type: "checkbox", id: "pcl-open-box" });
    this.closeSection = element("section", { class: "pcl-part pcl-warning", hidden: "" }, element("p", {}, () => WORDS.parcel.cannotClose),
      element("div", { class: "pcl-check" }, this.openBox, element("label", { for: "pcl-open-box" }, () => WORDS.parcel.sendOpen)));
    return this.closeSection;
  }

  // Files that say something themselves.

  async useSheet(bytes, name) {
    const sheet = await readSheet(bytes, this.trust, name);
    if (this.sheet !== null && sheet.number < this.sheet.number) {
      const have = this.sheet.number;
      tell(this.sheetField.says, () => saying("bad", WORDS.parcel.sheetOlder(sheet.number, have)));
      return;
    }
    const had = this.orderPart !== null;
    this.sheet = sheet;
    this.orderPart = new OrderPart(sheet, () => this.forget());
    this.orderSlot.replaceChildren(...this.orderPart.sections);
    tell(this.sheetSays, () => [
      saying("good", phrase(WORDS.parcel.sheetHave("{shop}", sheet.number, sheet.claimed_time), { shop: foreign(this.trust.shop, 80) })),
      ...(had ? [saying("wait", WORDS.parcel.sheetChanged)] : []),
    ]);
    tell(this.sheetField.says, () => []);
    tell(this.sheetField.hints, () => "");
    this.sheetFold.replaceWith(this.sheetFold = element("details", {}, element("summary", {}, () => WORDS.parcel.sheetNewer), this.sheetField.field));
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
      tell(this.sheetField.says, () => saying("bad", WORDS.parcel.sheetBad(meaningOf(fault))));
    }
  }

  async chooseCustomer(file) {
    this.showCustomer();
    if (file === null) return;
    try {
      const { bytes, name } = await loadFile(file);
      const { number } = await readCustomerFile(bytes, name);
      await this.own.put({ name, bytes });
      [this.fresh, this.isNewKey] = [null, false];
      tell(this.customerField.says, () => saying("good", WORDS.parcel.customerGood(number)));
    } catch (fault) {
      tell(this.customerField.says, () => saying("bad", WORDS.parcel.customerBad(meaningOf(fault))));
    }
  }

  // What is known without a file chosen here: from the checks, or from the last parcel.
  showCustomer() {
    const customer = this.own.get();
    tell(this.customerField.says, () => (customer === null ? [] : saying("good", WORDS.parcel.customerHere(customer.number))));
  }

  async chooseBundle(file) {
    const says = this.bundleField.says;
    this.bundle = null;
    tell(says, () => []);
    this.logs.setBundle(null);
    if (file === null) return;
    try {
      tell(says, () => saying("wait", WORDS.parcel.moment));
      const verdict = await this.checker.check({ bundle: await loadFile(file), trust: this.trustFile, sealOnly: true, now: timeText() });
      if (verdict.outcome !== "authentic") throw new Refusal(verdict.reason.code, verdict.reason);
      const { job, revision, controllers, vehicle_reference: vehicle } = verdict.manifest;
      const text = () => WORDS.parcel.revision({ controller: controllers[0].name, revision });
      this.bundle = { job, digest: verdict.manifestDigest, text };
      if (this.vehicle.value === "") this.vehicle.value = vehicle;
      this.logs.setBundle(this.bundle);
      tell(says, () => saying("good", WORDS.parcel.bundleGood(job, text())));
    } catch (fault) {
      tell(says, () => saying("bad", WORDS.parcel.bundleBad(meaningOf(fault))));
    }
  }

  // Making.

  // A parcel is of what was chosen when it was made.
  forget() {
    ++this.run;
    this.problems.hidden = true;
    this.makeButton.disabled = false;
    if (this.ready.hidden) {
      this.say(() => "");
      return;
    }
    this.ready.hidden = true;
    tell(this.ready, () => []);
    this.say(() => WORDS.parcel.changed);
  }

  say(words) {
    tell(this.status, words);
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
    const labels = { ...WORDS.parcel.kinds, words: WORDS.parcel.wordsTitle, vehicle: WORDS.parcel.vehicleField };
    const texts = {
      nothing: () => WORDS.parcel.problemEmpty, question: () => WORDS.parcel.problemQuestion(printable(text)), cautions: () => WORDS.parcel.problemCautions(count),
      long: () => WORDS.parcel.problemLong(labels[what] ?? what, most), many: () => WORDS.parcel.problemMany(what, most), close: () => WORDS.parcel.problemClose,
      large: () => WORDS.parcel.problemLarge(printable(what, 80), most), together: () => WORDS.parcel.problemTogether(most),
    };
    return texts[kind]();
  }

  showProblems(problems) {
    const rows = problems.map((problem) => {
      const go = element("button", { type: "button", class: "pcl-link" }, () => this.problemText(problem));
      go.addEventListener("click", () => this.problemField(problem).focus());
      return element("li", {}, go);
    });
    this.tellProblem(() => WORDS.parcel.problems(problems.length), element("ul", {}, ...rows));
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
    this.say(() => WORDS.parcel.making);
    const parcelKey = this.openBox.checked && !this.canClose ? "" : this.sheet?.parcel_key ?? "";
    const customer = this.customer();
    const request = { wish: this.wish(), customer, parcelKey, wanted: this.sheet?.reads ?? [] };
    const made = await this.pack(request, (index, count) => {
      if (run === this.run) this.say(() => WORDS.parcel.packing(index, count));
    });
    if (run !== this.run) return;
    this.makeButton.disabled = false;
    this.say(() => "");
    if (made.refused) this.tellProblem(() => WORDS.parcel.failed(failedText(made.refused)));
    else await this.showReady(made, parcelKey !== "");
  }

  // A new key is new to the shop until a customer file is chosen.
  customer() {
    const known = this.own.get();
    if (known === null) this.fresh ??= newCustomer();
    this.isNewKey ||= (known ?? this.fresh).number === 0;
    return known ?? this.fresh;
  }

  async pack(request, onPacking) {
    try {
      return await this.checker.pack(request, (_, [index, count]) => onPacking(index, count));
    } catch (fault) {
      return { refused: { code: "out-of-memory", meaning: String(fault) } };
    }
  }

  async showReady(made, closed) {
    await this.own.put({ name: CUSTOMER_NAME, bytes: utf8(made.customerText) });
    const questions = new Map((this.sheet?.questions ?? []).map(({ name, text }) => [name, printable(text)]));
    const missing = wantedReads(this.sheet?.reads ?? [], this.reads.places()).filter(({ count }) => count === 0);
    const about = {
      shop: this.trust.shop, closed, isNewKey: this.isNewKey, titleOf: this.orderPart?.titleOf ?? ((name) => name),
      titles: new Map((this.sheet?.reads ?? []).map(({ controller, title }) => [controller, printable(title || controller, 80)])),
      missing: missing.map(({ title, memory }) => () => WORDS.parcel.memoryPlace(printable(title, 80), memory)), questionOf: (name) => questions.get(name) ?? name,
    };
    tell(this.ready, () => describeReady(made, about));
    this.ready.hidden = false;
    document.getElementById("pcl-ready-title").focus();
  }
}

function timeText() {
  return `${new Date().toISOString().slice(0, 19)}Z`;
}

function failedText({ code }) {
  if (code === "file-unreadable") return WORDS.parcel.failedFile;
  return code === "out-of-memory" ? WORDS.parcel.failedMemory : WORDS.reasons[code].says;
}

// Which of the two views is open stands in the address, so that the browser's own way back works.
// `title()` is the view's own.
function followAddress(section, title) {
  const open = document.getElementById("pcl-open");
  let shown = false;
  const nameDocument = () => {
    document.title = location.hash === VIEW_HASH ? title() : shownText(filled(WORDS.page.documentTitle, { shop: document.body.dataset.shop }));
  };
  const follow = () => {
    const wanted = location.hash === VIEW_HASH;
    document.body.classList.toggle("pcl-on", wanted);
    section.hidden = !wanted;
    nameDocument();
    if (wanted) document.getElementById("pcl-title").focus();
    else if (shown) open.focus();
    if (wanted !== shown) scrollTo(0, 0);
    shown = wanted;
  };
  addEventListener("hashchange", follow);
  open.parentElement.hidden = false;
  section.retell = nameDocument;
  follow();
}

// `sheet` are the bytes of the sheet in this page, none where there is none.
// `own`: the customer file of the page.
export async function startParcelView(checker, trustFile, sheet, own) {
  const section = document.getElementById("pcl");
  let trust;
  try {
    trust = await readTrustFile(trustFile.bytes, "", trustFile.name);
  } catch {
    section.replaceChildren(element("h1", { id: "pcl-title", tabindex: "-1" }, () => WORDS.parcel.noTrust), element("p", {}, element("a", { href: "#" }, () => WORDS.parcel.back)));
    followAddress(section, () => WORDS.parcel.noTrust);
    return;
  }
  const view = new ParcelView(checker, trustFile, trust, own);
  section.replaceChildren(...view.build());
  addEventListener("hashchange", () => view.showCustomer());
  followAddress(section, () => WORDS.parcel.title(shownText(trust.shop)));
  if (sheet.length === 0) return;
  try {
    await view.useSheet(sheet, "the sheet in this page");
  } catch (fault) {
    tell(view.sheetSays, () => saying("bad", meaningOf(fault)));
  }
}
