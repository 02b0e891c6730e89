// The files of the view "Send to the shop": reads, each with what it is a read of and what it shows, and logs.

import { bytesAmount, sizeText } from "./amounts.js";
import { printable } from "./bytes.js";
import { wantedSize } from "./look.js";
import { guessPlace, seriesOf, wantedReads } from "./parcel_choice.js";
import { WORDS } from "./words.js";
import { element, tell } from "./dom.js";

// After these the controller should be read again, as long as that is easy.
const READ_AGAIN_CODES = ["blank", "cut-off", "differs", "empty", "repeated", "size"];
const LOOK_SIGNS = { good: "✓", bad: "!", wait: "…", ask: "?" };
let cardNumber = 0;

// A line with a sign, so that nothing depends on colour.
export function saying(kind, text) {
  return element("p", { class: `pcl-says pcl-${kind}` }, element("span", { "aria-hidden": "true" }, LOOK_SIGNS[kind]), " ", ...[text].flat());
}

// An input that adds files each time, shown as a button.
function fileAdder(id, label, hint, onFiles) {
  const input = element("input", { id, type: "file", multiple: "", class: "pcl-hidden-input", "aria-describedby": `${id}-hint` });
  input.addEventListener("change", () => {
    const files = [...input.files];
    input.value = "";
    onFiles(files);
  });
  return [element("p", { class: "pcl-hint", id: `${id}-hint` }, hint), element("p", { class: "pcl-adder" }, input, element("label", { for: id }, label))];
}

function cardHead(file, onRemove) {
  const name = printable(file.name, 80);
  const remove = element("button", { type: "button", class: "pcl-minor", "aria-label": () => WORDS.parcel.remove(name) }, () => WORDS.parcel.removeWord);
  remove.addEventListener("click", onRemove);
  return element("div", { class: "pcl-card-head" }, element("div", {}, element("strong", {}, name), " ", element("span", { class: "pcl-hint pcl-whole" }, () => sizeText(file.size))), remove);
}

// Cards in a list; removing one puts the focus on the next thing that is there.
class CardList {
  constructor(adderId) {
    this.adderId = adderId;
    this.cards = [];
    this.list = element("ul", { class: "pcl-cards" });
  }

  add(card) {
    this.cards.push(card);
    this.list.append(card.item);
  }

  remove(card) {
    const next = card.item.nextElementSibling?.querySelector("button") ?? document.getElementById(this.adderId);
    this.cards = this.cards.filter((one) => one !== card);
    card.item.remove();
    next.focus();
  }
}

class ReadCard {
  constructor(file, { onChange, onRemove }) {
    this.file = file;
    this.places = [];
    this.select = element("select", { id: `pcl-read-${++cardNumber}` });
    this.select.addEventListener("change", onChange);
    this.series = element("span", { class: "pcl-hint" });
    this.says = element("div", { class: "pcl-card-says" });
    this.field = element("div", { class: "pcl-field" },
      element("label", { for: this.select.id, "aria-label": () => WORDS.parcel.readPlace(printable(file.name, 80)) }, () => WORDS.parcel.readPlaceShort), this.select, this.series);
    this.item = element("li", { class: "pcl-card" }, cardHead(file, () => onRemove(this)), this.field, this.says);
  }

  offer(places, place) {
    this.places = places;
    this.select.replaceChildren(...places.map(({ label }, i) => element("option", { value: String(i) }, label)));
    this.select.value = String(Math.max(0, places.findIndex((one) => one.controller === place.controller && one.memory === place.memory)));
    this.field.hidden = places.length < 2;
  }

  // Gives what is new in it, for those who hear it.
  tell(lines) {
    const text = `${printable(this.file.name, 80)}: ${lines.map((line) => line.text()).join(" ")}`;
    if (text === this.told) return "";
    this.told = text;
    tell(this.says, () => lines.map((line) => saying(line.kind, line.text())));
    return text;
  }

  place() {
    const { controller, memory } = this.places[Number(this.select.value)];
    return { controller, memory };
  }
}

function offeredPlaces(wanted) {
  const unknown = { controller: "", memory: "", label: () => WORDS.parcel.unknownPlace };
  const known = wanted.flatMap(({ controller, title, memories }) => {
    const shown = printable(title || controller, 80);
    const parts = memories.map(({ name }) => ({ controller, memory: name, label: () => WORDS.parcel.memoryPlace(shown, name) }));
    return [...parts, { controller, memory: "", label: () => WORDS.parcel.wholeController(shown) }];
  });
  return [unknown, ...known];
}

function sizesText(wanted) {
  const sizes = [...new Set(wanted.flatMap(({ memories }) => memories.map(({ size }) => size)))].filter((size) => size !== 0);
  return sizes.map(bytesAmount).join(", ");
}

export class ReadsPart {
  constructor(checker, onChange) {
    Object.assign(this, { checker, onChange, wanted: [], run: 0 });
    this.cards = new CardList("pcl-add-reads");
    this.live = element("p", { class: "pcl-hidden-text", role: "status" });
    this.wantedList = element("ul", { class: "pcl-wanted" });
    this.wantedPart = element("div", { hidden: "" }, element("h3", {}, () => WORDS.parcel.wantedTitle), this.wantedList);
    this.section = element("section", { class: "pcl-part", "aria-labelledby": "pcl-reads-title" },
      element("h2", { id: "pcl-reads-title" }, () => WORDS.parcel.readsTitle), this.wantedPart,
      ...fileAdder("pcl-add-reads", () => WORDS.parcel.readsField, () => WORDS.parcel.readsHint, (files) => this.add(files)), this.live, this.cards.list);
  }

  // Another sheet knows other places.
  setWanted(wanted) {
    this.wanted = wanted;
    const taken = [];
    for (const card of this.cards.cards) {
      card.offer(offeredPlaces(wanted), guessPlace(card.file.size, wanted, taken));
      taken.push(card.place());
    }
    return this.look();
  }

  add(files) {
    for (const file of files) {
      const card = new ReadCard(file, { onChange: () => this.changed(), onRemove: (one) => this.remove(one) });
      card.offer(offeredPlaces(this.wanted), guessPlace(file.size, this.wanted, this.places()));
      this.cards.add(card);
    }
    return this.changed();
  }

  remove(card) {
    this.cards.remove(card);
    return this.changed();
  }

  changed() {
    this.onChange();
    return this.look();
  }

  places() {
    return this.cards.cards.map((card) => card.place());
  }

  // As makeParcel() takes them, with files instead of bytes.
  reads() {
    const places = this.places();
    const series = seriesOf(places);
    return this.cards.cards.map(({ file }, i) => ({ file, ...places[i], series: series[i] }));
  }

  showWanted() {
    const places = this.places();
    this.wantedPart.hidden = this.wanted.length === 0;
    tell(this.wantedList, () => this.wanted.map((read) => element("li", {}, printable(read.title || read.controller, 80), ...wantedReads([read], places).map(({ memory, size, count, again }) => {
      const state = count === 0 ? "wantedMissing" : again && count === 1 ? "wantedAgain" : "wantedGiven";
      return saying(state === "wantedGiven" ? "good" : "wait", WORDS.parcel.wantedMemory(memory, size, WORDS.parcel[state]));
    }))));
  }

  // Whatever changes may change what every read shows.
  async look() {
    const run = ++this.run;
    const reads = this.reads();
    this.showWanted();
    this.cards.cards.forEach((card, i) => {
      tell(card.series, () => (reads[i].memory === "" ? "" : WORDS.parcel.series(reads[i].series)));
      if (card.says.childElementCount === 0) tell(card.says, () => saying("wait", WORDS.parcel.moment));
    });
    const codes = await this.checker.look({ reads, wanted: this.wanted });
    if (run !== this.run) return;
    const told = this.cards.cards.map((card, i) => card.tell(this.linesOf(reads, i, codes[i]))).filter((text) => text !== "");
    if (told.length > 0) this.live.textContent = told.join(" ");
  }

  linesOf(reads, index, codes) {
    if (codes === null) return [{ kind: "bad", text: () => WORDS.parcel.lookFailed }];
    const read = reads[index];
    const others = reads.filter((one) => one.file.size === read.file.size && (one.controller !== read.controller || one.memory !== read.memory));
    const facts = { size: read.file.size, wanted: wantedSize(this.wanted, read), others: others.map(({ file }) => printable(file.name, 80)) };
    const again = (i) => (i === codes.length - 1 && codes.some((code) => READ_AGAIN_CODES.includes(code)) ? ` ${WORDS.parcel.readAgain}` : "");
    const lines = codes.map((code, i) => ({ kind: "bad", text: () => WORDS.parcel.look[code](facts) + again(i) }));
    if (lines.length === 0) lines.push({ kind: "good", text: () => WORDS.parcel.lookNothing });
    if (read.controller === "" && this.wanted.length > 0) lines.push({ kind: "ask", text: () => WORDS.parcel.noPlace(sizesText(this.wanted)) });
    return lines;
  }
}

export class LogsPart {
  constructor(onChange) {
    this.onChange = onChange;
    this.cards = new CardList("pcl-add-logs");
    this.driven = element("input", { type: "checkbox", id: "pcl-driven" });
    this.drivenLabel = element("label", { for: "pcl-driven" });
    this.drivenField = element("div", { class: "pcl-check", hidden: "" }, this.driven, this.drivenLabel);
    this.section = element("section", { class: "pcl-part", "aria-labelledby": "pcl-logs-title" },
      element("h2", { id: "pcl-logs-title" }, () => WORDS.parcel.logsTitle),
      ...fileAdder("pcl-add-logs", () => WORDS.parcel.logsField, () => WORDS.parcel.logsHint, (files) => this.add(files)), this.cards.list, this.drivenField);
  }

  add(files) {
    for (const file of files) {
      const card = { file };
      card.item = element("li", { class: "pcl-card" }, cardHead(file, () => this.remove(card)));
      this.cards.add(card);
    }
    this.onChange();
  }

  remove(card) {
    this.cards.remove(card);
    this.onChange();
  }

  // `bundle` is {digest, text} of the revision that may have been driven, or null.
  setBundle(bundle) {
    this.bundle = bundle;
    this.drivenField.hidden = bundle === null;
    this.driven.checked = bundle !== null;
    tell(this.drivenLabel, () => (bundle === null ? "" : WORDS.parcel.logsRevision(bundle.text())));
  }

  logs() {
    const revision = this.driven.checked ? this.bundle.digest : "";
    return this.cards.cards.map(({ file }) => ({ file, revision }));
  }
}
