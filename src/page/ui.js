// What the customer sees: files in, the verdict in plain words, the image to save.

import { bytesText } from "./bytes.js";
import { parseSalt } from "./check.js";
import { element, foreign, phrase } from "./dom.js";
import { Refusal, describeRefusal } from "./reason.js";
import { shownText } from "./shown.js";
import { listenAlong, SPOKEN } from "./spoken_code.js";
import { makeChecker } from "./worker.js";
import { describeVerdict, showSeal } from "./verdict_view.js";
import { WORDS } from "./words.js";

const byId = (id) => document.getElementById(id);

// A file that was changed, moved or taken out since it was chosen.
async function readFile(file) {
  try {
    return { name: file.name, bytes: new Uint8Array(await file.arrayBuffer()) };
  } catch (fault) {
    throw new Refusal("file-unreadable", { file: file.name, found: String(fault), next: "choose the file again" });
  }
}

async function readOne(input) {
  return input.files.length === 0 ? null : readFile(input.files[0]);
}

function readAll(input) {
  return Promise.all([...input.files].map(readFile));
}

function fromBase64(text) {
  return Uint8Array.from(atob(text), (character) => character.charCodeAt(0));
}

function nowText() {
  return `${new Date().toISOString().slice(0, 19)}Z`;
}

// Blanks alone are an empty field; everything else counts as it was typed.
function statedRootOf(text) {
  return text.trim() === "" ? "" : text;
}

const LISTENING_SIGNS = { wrong: "✕", other: "✕", open: "…", same: "✓" };

// Says below the field, group by group, what is wrong with the code that is being typed into it. A key id is judged with the check.
function showListening(field, says) {
  const { state, words } = /^\s*[0-9a-f]{64}\s*$/.test(field.value)
    ? { state: "empty", words: "" } : listenAlong(field.value, SPOKEN.key, byId("fingerprint").textContent);
  const wrong = state === "wrong" || state === "other";
  field.setAttribute("aria-invalid", String(wrong));
  says.className = `listening ${state}`;
  const text = state === "empty" ? "" : `${LISTENING_SIGNS[state]} ${words[0].toUpperCase()}${words.slice(1)}.`;
  if (says.textContent !== text) says.textContent = text;
}

class Page {
  constructor(checker) {
    this.checker = checker;
    this.run = 0;  // counts what was begun, so that an answer that comes late is not shown
    this.trust = { name: WORDS.trustInThisPage, bytes: fromBase64(document.body.dataset.trust) };
    this.sealed = null;  // the manifest whose seal was looked at and holds
    this.readInputs = [];  // {memory, input}; memory "" for files that say themselves where they belong
    byId("form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.check();
    });
    byId("form").addEventListener("change", ({ target }) => this.changed(target));
    byId("stated-root").addEventListener("input", () => {
      this.forget();
      showListening(byId("stated-root"), byId("stated-root-says"));
    });
    byId("vehicle").addEventListener("input", () => this.forget());
    letChooseAgain(byId("form"));
  }

  // A verdict is about what was judged; once something changes it is none.
  forget() {
    ++this.run;
    byId("verdict").hidden = true;
    byId("verdict").replaceChildren();
    byId("progress").hidden = true;
    byId("working").textContent = "";
    byId("check").disabled = false;
  }

  async changed(target) {
    this.forget();
    if (target === byId("bundle")) await this.lookAtBundle();
  }

  // The seal alone, as soon as a bundle is chosen: it tells which memories are needed.
  async lookAtBundle() {
    const run = this.run;
    this.sealed = null;
    byId("bundle-says").replaceChildren(element("p", {}, WORDS.working.looking));
    const verdict = await this.judge(async () => ({ bundle: await readOne(byId("bundle")), sealOnly: true }));
    if (run !== this.run) return;
    this.sealed = verdict.outcome === "authentic" ? verdict.manifest : null;
    byId("bundle-says").replaceChildren(...showSeal(verdict));
    this.askForReads(this.sealed?.controllers[0].memories ?? []);
  }

  askForReads(memories) {
    const field = (memory, label, hint) => {
      const id = `read-${this.readInputs.length}`;
      const input = element("input", { id, type: "file", "aria-describedby": `${id}-hint` });
      input.multiple = memory === "";
      this.readInputs.push({ memory, input });
      return element("div", { class: "field" }, element("label", { for: id }, ...label), input,
        element("p", { class: "hint", id: `${id}-hint` }, ...hint));
    };
    this.readInputs = [];
    const { memory: term, memoryHint, one, several, wholeHint, first, any } = WORDS.reads;
    const fields = memories.map(({ name, extent }) =>
      field(name, phrase(term, { memory: name }), phrase(memoryHint, { size: bytesText(extent.end - extent.begin) })));
    if (memories.length > 0) fields.push(field("", [memories.length === 1 ? one : several], [wholeHint]));
    byId("read-hint").textContent = memories.length === 0 ? first : any;
    byId("reads").replaceChildren(...fields);
  }

  async gatherReads() {
    const reads = [];
    for (const { memory, input } of this.readInputs) {
      for (const file of await readAll(input)) reads.push({ memory, ...file });
    }
    return reads;
  }

  async gather() {
    const salt = await readOne(byId("salt"));
    const state = byId("new-state").checked ? { name: "state", bytes: new Uint8Array() } : await readOne(byId("state"));
    return {
      bundle: await readOne(byId("bundle")),
      statedRoot: statedRootOf(byId("stated-root").value),
      reads: await this.gatherReads(),
      evidence: { readIsFresh: byId("fresh").checked, salt: salt === null ? null : parseSalt(salt.bytes, salt.name),
        vehicleReference: byId("vehicle").value.trim() },
      revive: byId("revive").checked,
      declaredReturn: byId("return").checked,
      declaredOldBase: byId("old-base").checked,
      declaredClock: byId("clock-is-right").checked,
      partners: await readAll(byId("partners")),
      successions: await readAll(byId("successions")),
      withdrawals: await readOne(byId("withdrawals")),
      jobList: await readOne(byId("job-list")),
      inclusion: await readOne(byId("inclusion")),
      newest: await readOne(byId("newest")),
      state,
    };
  }

  // What `gather` promises is judged; a file that cannot be read gives a verdict too.
  async judge(gather, onStep = () => {}) {
    try {
      return await this.checker.check({ ...await gather(), trust: this.trust, now: nowText() }, onStep);
    } catch (fault) {
      return refusedFor(fault);
    }
  }

  async check() {
    this.forget();
    const run = this.run;
    byId("check").disabled = true;
    byId("working").textContent = WORDS.working.checking;
    byId("progress").hidden = false;
    byId("bar").value = 0;
    const verdict = await this.judge(() => this.gather(), (_, state) => {
      if (run === this.run && state === "passed") ++byId("bar").value;
    });
    if (run !== this.run) return;
    byId("check").disabled = false;
    byId("progress").hidden = true;
    byId("working").textContent = WORDS.working[verdict.outcome];
    byId("verdict").hidden = false;
    byId("verdict").replaceChildren(describeVerdict(verdict, verdict.manifest ?? this.sealed));
    // The verdict begins at the top of the window, so that a phone shows the whole of its first part.
    byId("verdict").scrollIntoView({ block: "start" });
    byId("verdict-title").focus({ preventScroll: true });
  }
}

// The verdict where nothing could be judged.
function refusedFor(fault) {
  const refusal = fault instanceof Refusal ? fault : new Refusal("internal", { found: String(fault), next: "report this to the shop" });
  return { outcome: "refused", reason: describeRefusal(refusal), steps: [], evidence: [], cautions: [], files: [] };
}

// A browser reports no change where a file of the same name is chosen again, mended or not. So a field is empty while its dialogue
// is open; where that is closed without a choice, it holds what it held.
function letChooseAgain(form) {
  let before = null;
  form.addEventListener("click", ({ target }) => {
    if (target.type !== "file") return;
    before = new DataTransfer();
    for (const file of target.files) before.items.add(file);
    target.value = "";
  });
  form.addEventListener("cancel", ({ target }) => {
    if (target.type === "file" && before !== null) target.files = before.files;
  });
}

// The texts of the page's own parts, where page.html has left room for them.
function fillTexts({ shop, tool }) {
  const parts = () => ({ shop: foreign(shop), tool, strong: element("strong", {}, WORDS.page.rootWarning) });
  for (const one of document.querySelectorAll("[data-text]")) one.replaceChildren(...phrase(WORDS.page[one.dataset.text], parts()));
  document.title = shownText(document.title);
}

function halt(...paragraphs) {
  byId("halt").replaceChildren(...paragraphs.map((text) => element("p", {}, ...[text].flat())));
}

// Printed, everything is unfolded.
function unfoldForPrint() {
  const opened = [];
  addEventListener("beforeprint", () => {
    for (const part of document.querySelectorAll("#verdict details:not([open])")) opened.push(part);
    for (const part of opened) part.open = true;
  });
  addEventListener("afterprint", () => {
    for (const part of opened.splice(0)) part.open = false;
  });
}

// `source` is the text of the whole script, from which the worker is made.
export async function startPage(source) {
  fillTexts(document.body.dataset);
  halt(WORDS.halt.wait);
  const checker = await makeChecker(source);
  const missing = await checker.lacking();
  if (missing.length > 0) {
    halt(phrase(WORDS.halt.lacks, { features: missing.join("; ") }), WORDS.halt.nothing, WORDS.halt.next);
    return;
  }
  byId("halt").hidden = true;
  byId("form").hidden = false;
  unfoldForPrint();
  new Page(checker).askForReads([]);
}
