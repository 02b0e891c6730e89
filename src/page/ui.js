// What the customer sees: files in, the verdict in plain words, the image to save.

import { bytesText, rangeText } from "./bytes.js";
import { parseSalt } from "./check.js";
import { Refusal, describeRefusal } from "./reason.js";
import { listenAlong, SPOKEN } from "./spoken_code.js";
import { makeChecker } from "./worker.js";
import { describeVerdict, element, showSeal } from "./verdict_view.js";

const byId = (id) => document.getElementById(id);
const TRUST_NAME = "the trust file in this page";

async function readFile(file) {
  return { name: file.name, bytes: new Uint8Array(await file.arrayBuffer()) };
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
    this.trust = { name: TRUST_NAME, bytes: fromBase64(document.body.dataset.trust) };
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
    byId("bundle-says").replaceChildren(element("p", {}, "Looking at the seal …"));
    const verdict = await this.judge({ bundle: await readOne(byId("bundle")), sealOnly: true });
    if (run !== this.run) return;
    byId("bundle-says").replaceChildren(...showSeal(verdict));
    this.askForReads(verdict.outcome === "authentic" ? verdict.manifest.controllers[0].memories : []);
  }

  askForReads(memories) {
    const field = (memory, label, hint) => {
      const id = `read-${this.readInputs.length}`;
      const input = element("input", { id, type: "file", "aria-describedby": `${id}-hint` });
      input.multiple = memory === "";
      this.readInputs.push({ memory, input });
      return element("div", { class: "field" }, element("label", { for: id }, label), input,
        element("p", { class: "hint", id: `${id}-hint` }, hint));
    };
    this.readInputs = [];
    const fields = memories.map(({ name, extent }) =>
      field(name, `Memory ${name}`, `${bytesText(extent.end - extent.begin)}, ${rangeText(extent)}; raw, Intel HEX or S-record`));
    if (memories.length > 0) {
      fields.push(field("", memories.length === 1 ? "Or a file in the shop's own form" : "Or a file that holds several memories",
        "A record file, or a wrapping that the shop's region map declares."));
    }
    byId("read-hint").textContent = memories.length === 0
      ? "Choose the bundle first; it says which memories are needed."
      : "Any read of this controller will do: the first one, or an earlier revision read back. " +
        "Give every memory that the first read had.";
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

  judge(request, onStep = () => {}) {
    return this.checker.check({ ...request, trust: this.trust, now: nowText() }, onStep);
  }

  async check() {
    this.forget();
    const run = this.run;
    byId("check").disabled = true;
    byId("working").textContent = "Checking …";
    byId("progress").hidden = false;
    byId("bar").value = 0;
    let verdict;
    try {
      verdict = await this.judge(await this.gather(), (_, state) => {
        if (run === this.run && state === "passed") ++byId("bar").value;
      });
    } catch (fault) {
      const refusal = fault instanceof Refusal ? fault : new Refusal(isFileFault(fault) ? "file-unreadable" : "internal",
        { found: String(fault), next: isFileFault(fault) ? "choose the file again" : "report this to the shop" });
      verdict = { outcome: "refused", reason: describeRefusal(refusal), steps: [], evidence: [], cautions: [], files: [] };
    }
    if (run !== this.run) return;
    byId("check").disabled = false;
    byId("progress").hidden = true;
    byId("working").textContent = `Done: ${verdict.outcome}.`;
    byId("verdict").hidden = false;
    byId("verdict").replaceChildren(describeVerdict(verdict));
    byId("verdict-title").focus();
  }
}

// A file that was changed, moved or taken out since it was chosen.
function isFileFault(fault) {
  return fault instanceof DOMException && ["NotReadableError", "NotFoundError"].includes(fault.name);
}

function halt(...paragraphs) {
  byId("halt").replaceChildren(...paragraphs.map((text) => element("p", {}, text)));
}

// `source` is the text of the whole script, from which the worker is made.
export async function startPage(source) {
  halt("One moment …");
  const checker = await makeChecker(source);
  const missing = await checker.lacking();
  if (missing.length > 0) {
    halt(`This browser lacks what a check needs: ${missing.join("; ")}.`,
      "Nothing is checked here, and nothing may be written on the strength of this page.",
      "Open it in a newer browser, from disk or over https; or use the calseal-check program.");
    return;
  }
  byId("halt").hidden = true;
  byId("form").hidden = false;
  new Page(checker).askForReads([]);
}
