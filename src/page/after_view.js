// After the write: what was read back is given, or what a scan tool shows, and compared with the revision.

import { failedConfirmation } from "./confirm.js";
import { describeConfirmation } from "./confirm_view.js";
import { element, foreign, tell, tellKeeping } from "./dom.js";
import { FilesView } from "./files_view.js";
import { ReadBackFiles } from "./given_files.js";
import { WORDS } from "./words.js";

const part = (id) => document.getElementById(id);

// The fields of which the shop has sealed a value, so that one that is typed can be compared.
function comparable({ controllers: [{ identity, binding }] }) {
  return [...identity.filter(({ text }) => text !== ""), ...binding.filter(({ digest }) => digest !== "")].map(({ name }) => name);
}

function scanField(name, index) {
  const input = element("input", { id: `scan-${index}`, type: "text", autocomplete: "off", spellcheck: "false" });
  return { name, input, field: element("div", { class: "field" }, element("label", { for: input.id }, foreign(name)), input) };
}

// `gather()` gives the rest of a request to confirmBundle: bundle, trust, what was given beside it, and the read from before.
export class AfterView {
  constructor(checker, given, gather) {
    Object.assign(this, { checker, gather, given: new ReadBackFiles(given), manifest: null, scan: [], run: 0 });
    this.files = new FilesView({ input: part("read-back"), list: part("given-back"), missing: part("missing-back"), zone: part("after") },
      this.given, () => this.changed());
    tell(part("usual-after"), () => WORDS.usual.afterList.map((text) => element("li", {}, text)));
    part("given-back").retell = () => this.files.show({});
    part("scan-fields").addEventListener("input", () => this.forget());
    part("confirm").addEventListener("click", () => this.confirm());
  }

  changed() {
    this.forget();
    this.files.show({});
  }

  // What was confirmed holds only for what it was confirmed with.
  forget() {
    ++this.run;
    tell(part("confirmation"), () => []);
    tell(part("confirming"), () => "");
    part("confirm").disabled = false;
  }

  // There is something to be confirmed as soon as a seal holds.
  show() {
    const seal = this.given.main?.seal ?? null;
    const manifest = seal?.outcome === "authentic" ? seal.manifest : null;
    part("after").hidden = manifest === null;
    if (manifest === this.manifest) return;
    this.manifest = manifest;
    this.scan = manifest === null ? [] : comparable(manifest).map(scanField);
    part("scan").hidden = this.scan.length === 0;
    part("scan-fields").replaceChildren(...this.scan.map(({ field }) => field));
    this.changed();
  }

  lead() {
    part("after").scrollIntoView({ block: "start" });
    part("after-title").focus({ preventScroll: true });
  }

  async confirm() {
    await this.files.taken;
    const { reads } = this.given.request();
    const scan = this.scan.map(({ name, input }) => ({ name, value: input.value })).filter(({ value }) => value.trim() !== "");
    if (reads.length === 0 && scan.length === 0) {
      part("read-back").focus();
      return;
    }
    this.forget();
    const run = this.run;
    part("confirm").disabled = true;
    tell(part("confirming"), () => WORDS.working.confirming);
    const request = { ...await this.gather(), reads, scan };
    const confirmation = await this.checker.confirm(request).catch(failedConfirmation);
    if (run !== this.run) return;
    this.forget();
    tell(part("confirming"), () => WORDS.working[confirmation.outcome === "refused" ? "unconfirmed" : confirmation.outcome]);
    tellKeeping(part("confirmation"), () => describeConfirmation(confirmation, request.before.length > 0));
    part("confirmation").scrollIntoView({ block: "start" });
    part("confirmation-title").focus({ preventScroll: true });
  }
}
