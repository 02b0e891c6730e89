// The one place where files are given: chosen or dropped, told apart, listed with what each one is, and removed again.

import { exactSizeText } from "./amounts.js";
import { element, foreign } from "./dom.js";
import { phrase } from "./phrase.js";
import { Refusal } from "./reason.js";
import { shownText } from "./shown.js";
import { tellFile } from "./tell_file.js";
import { unzip } from "./unzip.js";
import { WORDS } from "./words.js";


// A file that was changed, moved or taken out since it was chosen has a fault and no bytes.
async function readGiven(file) {
  try {
    return { name: file.name, bytes: new Uint8Array(await file.arrayBuffer()) };
  } catch (fault) {
    return { name: file.name, fault: String(fault) };
  }
}

// The file itself, or what a packed download holds.
async function unpacked(file) {
  if (file.fault !== undefined || tellFile(file) !== "zip") return [file];
  try {
    return await unzip(file);
  } catch (fault) {
    if (!(fault instanceof Refusal)) throw fault;
    return [{ name: file.name, fault: fault.found }];
  }
}

const ASIDE = ["trust", "foreign", "page", "notRead"];
const BAD = ["empty", "unreadable", "zip"];

function bundleWords(given, entry) {
  const { files } = WORDS;
  const manifest = entry.seal?.manifest;
  if (entry.seal === null) return { sign: "…", words: [files.looking] };
  if (!manifest) return { sign: "✕", words: [files.broken] };
  const role = given.roleOf(entry);
  const text = { main: files.bundle, partner: files.partner, newest: files.newest, aside: files.other }[role];
  return { sign: role === "aside" ? "–" : "✓", words: phrase(text, { controller: manifest.controllers[0].name, revision: String(manifest.revision) }) };
}

function readWords(given, entry) {
  const { files } = WORDS;
  const size = exactSizeText(entry.bytes.length);
  const memory = given.memoryOf(entry);
  if (given.memories.length === 0) return { sign: "…", words: phrase(files.tooEarly, { size }) };
  if (memory !== "") return { sign: "✓", words: phrase(files.fits, { memory, controller: given.main.seal.manifest.controllers[0].name, size }) };
  if (given.choiceFor(entry).length > 0) return { sign: "?", words: phrase(files.several, { size }) };
  return { sign: entry.kind === "records" ? "✓" : "?", words: phrase(entry.kind === "records" ? files.records : files.read, { size }) };
}

function customerWords(given, { customer, refusal }) {
  const { files } = WORDS;
  if (refusal !== null) return { sign: "✕", words: [WORDS.reasons[refusal.code].says, " ", WORDS.reasons[refusal.code].act] };
  if (customer === null) return { sign: "…", words: [files.lookingAtYours] };
  return { sign: "✓", words: [given.keepsSalt ? files.customerWithSalt : files.customer] };
}

function wordsFor(given, entry) {
  if (entry.kind === "customer") return customerWords(given, entry);
  if (entry.kind === "bundle") return bundleWords(given, entry);
  if (entry.kind === "raw" || entry.kind === "records") return readWords(given, entry);
  return { sign: BAD.includes(entry.kind) ? "✕" : ASIDE.includes(entry.kind) ? "–" : "✓", words: [WORDS.files[entry.kind === "zip" ? "unreadable" : entry.kind]] };
}

// The picker, the list and what is missing. `changed()` is called when a file has come or gone. Files are dropped on the `zone`, or,
// with a `drop` that says so, anywhere else.
export class FilesView {
  constructor({ input, list, missing, drop = null, zone = null }, given, changed) {
    Object.assign(this, { input, list, missing, drop, zone, given, changed });
    this.taken = Promise.resolve();  // files are taken in one after the other
    input.addEventListener("change", () => {
      const files = [...input.files];
      input.value = "";  // the same name may be chosen again, mended
      this.take(files);
    });
    if (zone === null) this.listenForDrops();
    else this.listenInZone();
  }

  listenInZone() {
    this.zone.addEventListener("drop", (event) => {
      event.preventDefault();  // the window's own listener comes after this one, and sees that it is taken
      this.take([...event.dataTransfer.files]);
    });
  }

  listenForDrops() {
    const show = (shown) => {
      this.drop.hidden = !shown;
    };
    addEventListener("dragover", (event) => {
      event.preventDefault();
      event.dataTransfer.dropEffect = "copy";
      show([...event.dataTransfer.types].includes("Files"));
    });
    addEventListener("dragleave", (event) => {
      if (event.relatedTarget === null) show(false);
    });
    addEventListener("drop", (event) => {
      show(false);
      if (event.defaultPrevented) return;
      event.preventDefault();
      this.take([...event.dataTransfer.files]);
    });
  }

  take(files) {
    this.list.setAttribute("aria-busy", "true");
    const own = this.taken.then(async () => {
      for (const file of files) {
        for (const one of await unpacked(await readGiven(file))) this.given.add(one);
      }
      await this.changed();
      if (this.taken === own) this.list.setAttribute("aria-busy", "false");
    });
    this.taken = own;
  }

  removeEntry(id) {
    const at = this.given.entries.findIndex((one) => one.id === id);
    this.given.remove(id);
    this.changed();
    // The focus stays in the list, or goes back to where files come from.
    (this.list.querySelectorAll(".remove")[Math.min(at, this.given.entries.length - 1)] ?? this.input).focus();
  }

  // The list is made anew; the focus stays on what it was on.
  show(more) {
    const label = this.list.contains(document.activeElement) ? document.activeElement.getAttribute("aria-label") : null;
    this.list.replaceChildren(...this.given.entries.map((entry) => this.row(entry)));
    const missing = this.given.missing(more);
    const words = ({ key, memory }) => phrase(WORDS.missing[key], memory === undefined ? {}
      : { memory: memory.name, size: exactSizeText(memory.extent.end - memory.extent.begin) });
    this.missing.classList.toggle("none", missing.length === 0);
    this.missing.replaceChildren(...(missing.length > 0
      ? [element("p", {}, WORDS.missing.still), element("ul", {}, ...missing.map((one) => element("li", {}, ...words(one))))]
      : this.given.memories.length > 0 && this.given.isBegun ? [element("p", {}, WORDS.missing[this.given.ready])] : []));
    if (label !== null) (this.list.querySelector(`[aria-label="${CSS.escape(label)}"]`) ?? this.input).focus();
  }

  row(entry) {
    const { sign, words } = wordsFor(this.given, entry);
    const name = shownText(entry.name);
    const remove = element("button", { type: "button", class: "remove", "aria-label": phrase(WORDS.files.removeName, { name }).join("") }, WORDS.files.remove);
    remove.addEventListener("click", () => this.removeEntry(entry.id));
    return element("li", { "data-kind": entry.kind, "data-reason": entry.refusal?.code ?? "" }, element("span", { class: "mark", "aria-hidden": "true" }, sign),
      element("div", {}, element("span", { class: "what" }, ...words), " ", element("span", { class: "hint" }, foreign(entry.name)), ...this.choices(entry, name)), remove);
  }

  // Where it cannot be told what a file is for: of two bundles the one to check, of two memories of one size the right one.
  choices(entry, name) {
    if (entry.kind === "bundle" && this.given.roleOf(entry) !== "main" && entry.seal?.manifest) {
      const button = element("button", { type: "button", class: "plain", "aria-label": phrase(WORDS.files.checkThisName, { name }).join("") }, WORDS.files.checkThis);
      button.addEventListener("click", () => {
        this.given.chosen = entry.id;
        this.changed();
      });
      return [button];
    }
    const memories = this.given.choiceFor(entry);
    if (memories.length === 0) return [];
    const select = element("select", { "aria-label": phrase(WORDS.files.memory, { name }).join("") },
      element("option", { value: "" }, WORDS.files.memoryChoice), ...memories.map((memory) => element("option", { value: memory.name }, memory.name)));
    select.value = entry.memory;
    select.addEventListener("change", () => {
      entry.memory = select.value;
      this.changed();
    });
    return [select];
  }
}
