// What the customer sees: files in, the verdict in plain words, the image to save.

import { AfterView } from "./after_view.js";
import { sameBytes, utf8 } from "./bytes.js";
import { readCustomerFile } from "./customer_file.js";
import { customerAfterCheck, fillFromCustomer } from "./customer_in_check.js";
import { element, foreign, retell, tell, tellKeeping } from "./dom.js";
import { filled, phrase } from "./phrase.js";
import { FilesView } from "./files_view.js";
import { GivenFiles } from "./given_files.js";
import { Refusal, describeRefusal } from "./reason.js";
import { startParcelView } from "./parcel_ui.js";
import { shownText } from "./shown.js";
import { listenAlong, SPOKEN } from "./spoken_code.js";
import { makeChecker } from "./worker.js";
import { describeVerdict, showSeal } from "./verdict_view.js";
import { languageFor, LANGUAGES, speak, WORDS } from "./words.js";

const byId = (id) => document.getElementById(id);

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

function listenToRoot() {
  showListening(byId("stated-root"), byId("stated-root-says"));
}

const TRUST_NAME = "the trust file in this page";  // in technical details

class Page {
  constructor(checker) {
    this.checker = checker;
    this.run = 0;  // counts what was begun, so that an answer that comes late is not shown
    this.trust = { name: TRUST_NAME, bytes: fromBase64(document.body.dataset.trust) };
    this.given = new GivenFiles();
    this.before = [];  // the reads of an accepted verdict, as long as it stands
    this.after = new AfterView(checker, this.given, () => this.gatherConfirmed());
    const places = { input: byId("files"), list: byId("given"), missing: byId("missing"), drop: byId("drop") };
    this.files = new FilesView(places, this.given, () => this.filesChanged());
    byId("form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.check();
    });
    byId("form").addEventListener("change", ({ target }) => {
      if (target !== byId("files")) this.forget();
      this.showFiles();
    });
    byId("stated-root").addEventListener("input", () => {
      this.forget();
      listenToRoot();
    });
    byId("stated-root-says").retell = listenToRoot;
    byId("vehicle").addEventListener("input", () => {
      this.forget();
      this.showFiles();
    });
    this.showFiles();
    byId("given").retell = () => this.files.show(this.wanted());
  }

  wanted() {
    return { revive: byId("revive").checked, vehicle: byId("vehicle").value.trim() };
  }

  // A verdict is about what was judged; once something changes it is none.
  forget() {
    ++this.run;
    this.before = [];
    this.after.forget();
    byId("verdict").hidden = true;
    tell(byId("verdict"), () => []);
    byId("progress").hidden = true;
    tell(byId("working"), () => "");
    byId("check").disabled = false;
  }

  // A damaged customer file says so where it stands.
  async readCustomers() {
    for (const entry of this.given.of("customer").filter(({ customer, refusal }) => customer === null && refusal === null)) {
      try {
        entry.customer = await readCustomerFile(entry.bytes, entry.name);
      } catch (fault) {
        entry.refusal = refusedFor(fault).reason;
      }
      this.showFiles();
    }
  }

  // The one customer file of the page, for its other view: `get` gives what is in it or null, `put` a newer one {name, bytes}.
  ownCustomer() {
    return {
      get: () => this.given.customer?.customer ?? null,
      put: (file) => {
        this.given.add(file);
        return this.filesChanged();
      },
    };
  }

  // The seal alone, as soon as a bundle is there: it tells which memories are needed.
  async filesChanged() {
    this.forget();
    this.showFiles();  // at once, so that the focus finds its place
    await this.readCustomers();
    for (const bundle of this.given.of("bundle").filter(({ seal }) => seal === null)) {
      bundle.seal = await this.judge(async () => ({ bundle: { name: bundle.name, bytes: bundle.bytes }, sealOnly: true }));
      this.showFiles();
    }
  }

  showFiles() {
    this.files.show(this.wanted());
    const seal = this.given.main?.seal ?? null;
    if (seal === this.shown) return;
    this.shown = seal;
    tellKeeping(byId("bundle-says"), () => (seal === null ? [] : showSeal(seal)));
    this.after.show();
  }

  // What a confirmation takes from the check.
  async gatherConfirmed() {
    const { bundle, successions, inclusion, salt } = await this.filled(this.given.request());
    return { bundle, successions, inclusion, salt, trust: this.trust, statedRoot: statedRootOf(byId("stated-root").value), before: this.before };
  }

  gather() {
    const request = this.given.request();
    return {
      ...request,
      // A customer file without a state begins one by itself.
      state: byId("new-state").checked && this.given.customer?.customer.state !== "" ? { name: "state", bytes: new Uint8Array() } : request.state,
      statedRoot: statedRootOf(byId("stated-root").value),
      evidence: { readIsFresh: byId("fresh").checked, salt: null, vehicleReference: byId("vehicle").value.trim() },
      revive: byId("revive").checked,
      declaredReturn: byId("return").checked,
      declaredOldBase: byId("old-base").checked,
      declaredClock: byId("clock-is-right").checked,
    };
  }

  filled(request) {
    const { customer } = this.given;
    return customer === null ? request : fillFromCustomer(request, customer);
  }

  // What the customer file keeps of a check, null without one. What was saved takes its place in the list.
  async keep(entry, verdict, gathered, request) {
    if (entry === null) return null;
    const written = verdict.outcome === "accepted";
    const kept = await customerAfterCheck(entry.customer, verdict, { request, own: gathered.state === null, written }).catch(keptNothing);
    const bytes = utf8(kept.text);
    return { ...kept, changed: !sameBytes(bytes, entry.bytes), saved: () => Object.assign(entry, { bytes, customer: kept.customer }) };
  }

  // What `gather` promises is judged; a file that cannot be read gives a verdict too.
  async judge(gather, onStep = () => {}) {
    try {
      return await this.checker.check({ now: nowText(), ...await gather(), trust: this.trust }, onStep);
    } catch (fault) {
      return refusedFor(fault);
    }
  }

  async check() {
    this.forget();
    await this.files.taken;
    if (this.given.main === null) {
      byId("files").focus();  // what is missing stands below it
      return;
    }
    const run = this.run;
    byId("check").disabled = true;
    tell(byId("working"), () => WORDS.working.checking);
    byId("progress").hidden = false;
    byId("bar").value = 0;
    const gathered = this.gather();
    const customer = this.given.customer;
    const request = { ...await this.filled(gathered), now: nowText() };
    const verdict = await this.judge(() => request, (_, state) => {
      if (run === this.run && state === "passed") ++byId("bar").value;
    });
    const kept = await this.keep(customer, verdict, gathered, request);
    if (run !== this.run) return;
    byId("check").disabled = false;
    byId("progress").hidden = true;
    tell(byId("working"), () => WORDS.working[verdict.outcome]);
    byId("verdict").hidden = false;
    this.before = verdict.outcome === "accepted" ? request.reads : [];
    const manifest = verdict.manifest ?? this.given.main?.seal?.manifest;
    tellKeeping(byId("verdict"), () => describeVerdict(verdict, manifest, () => this.after.lead(), kept));
    // The verdict begins at the top of the window, so that a phone shows the whole of its first part.
    byId("verdict").scrollIntoView({ block: "start" });
    byId("verdict-title").focus({ preventScroll: true });
  }
}

// The verdict where nothing could be judged.
function refusedFor(fault) {
  const refusal = fault instanceof Refusal ? fault : new Refusal("internal", { found: String(fault), next: "report this to the shop" });
  return { outcome: "refused", reason: describeRefusal(refusal), steps: [], evidence: [], cautions: [], files: [], manifest: null, stateAfterLook: "", stateAfterWrite: "" };
}

// The verdict stands, whatever becomes of the customer file.
function keptNothing(fault) {
  return { customer: null, text: "", receipt: "", keepsState: false, saltKept: false, saltLeftOut: false, fault: refusedFor(fault).reason };
}

// The texts of the page's own parts, where page.html has left room for them.
function fillTexts({ shop, tool }) {
  const parts = () => ({ shop: foreign(shop), tool, strong: element("strong", {}, WORDS.page.rootWarning) });
  for (const one of document.querySelectorAll("[data-text]")) tell(one, () => phrase(WORDS.page[one.dataset.text], parts()));
}

function nameLanguage(code) {
  document.documentElement.lang = code;
  document.title = shownText(filled(WORDS.page.documentTitle, { shop: document.body.dataset.shop }));
}

// The language follows the browser until a person chooses another; a page from disk has no place to remember that.
function offerLanguages() {
  const buttons = Object.entries(LANGUAGES).map(([code, { language }]) => element("button", { type: "button", class: "plain", lang: code, "data-language": code }, language));
  const choose = (code) => {
    speak(code);
    nameLanguage(code);
    for (const button of buttons) button.setAttribute("aria-pressed", String(button.dataset.language === code));
    retell(document.body);
  };
  for (const button of buttons) button.addEventListener("click", () => choose(button.dataset.language));
  byId("languages").replaceChildren(...buttons);
  choose(languageFor(navigator.languages));
}

// `make` gives paragraphs.
function halt(make) {
  tell(byId("halt"), () => make().map((text) => element("p", {}, ...[text].flat())));
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
  offerLanguages();
  fillTexts(document.body.dataset);
  halt(() => [WORDS.halt.wait]);
  const checker = await makeChecker(source);
  const missing = await checker.lacking();
  if (missing.length > 0) {
    halt(() => [phrase(WORDS.halt.lacks, { features: missing.join("; ") }), WORDS.halt.nothing, WORDS.halt.next]);
    return;
  }
  byId("halt").hidden = true;
  byId("form").hidden = false;
  unfoldForPrint();
  const page = new Page(checker);
  await startParcelView(checker, page.trust, fromBase64(document.body.dataset.sheet), page.ownCustomer());
}
