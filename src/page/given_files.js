// The files that a person has given, in whatever order, and what each one is used for. Nothing is judged here.

import { tellFile } from "./tell_file.js";

const SINGLE = ["salt", "state", "withdrawals", "jobList", "inclusion", "customer"];  // a later one takes the place of an earlier one
const READS = ["raw", "records"];

// A file that could not be read has a `fault` and no bytes.
function entryOf(id, { name, bytes = new Uint8Array(), fault = null }) {
  return { id, name, bytes, fault, kind: fault === null ? tellFile({ name, bytes }) : "unreadable", seal: null, memory: "", customer: null, refusal: null };
}

export class GivenFiles {
  constructor() {
    this.entries = [];
    this.next = 1;
    this.chosen = null;  // id of the bundle that the person wants to be checked, where there are several
  }

  add(file) {
    const entry = entryOf(this.next++, file);
    const replaced = ({ name, kind }) => name === entry.name || (SINGLE.includes(kind) && kind === entry.kind);
    this.entries = [...this.entries.filter((one) => !replaced(one)), entry];
    return entry;
  }

  remove(id) {
    this.entries = this.entries.filter((one) => one.id !== id);
  }

  of(...kinds) {
    return this.entries.filter(({ kind }) => kinds.includes(kind));
  }

  // Whether enough is there to say what is missing.
  get isBegun() {
    return true;
  }

  // Of WORDS.missing: said when nothing is.
  get ready() {
    return "nothing";
  }

  get reads() {
    return this.of(...READS);
  }

  // The customer file, {name, customer}, or null; a damaged one is not used.
  get customer() {
    return this.of("customer").find(({ customer }) => customer !== null) ?? null;
  }

  get keepsSalt() {
    const job = this.main?.seal?.manifest?.job;
    return this.customer?.customer.salts.some((one) => one.job === job) ?? false;
  }

  // The bundle to be checked: the one that the person chose, or the newest revision of the first job and controller given. One whose
  // seal is broken comes last: it may be what a sound one was copied from.
  get main() {
    const bundles = this.of("bundle");
    const chosen = bundles.find(({ id }) => id === this.chosen);
    if (chosen !== undefined) return chosen;
    const sound = bundles.filter(({ seal }) => seal?.outcome === "authentic");
    if (sound.length === 0) return bundles.at(-1) ?? null;
    const rank = ({ seal: { manifest } }) => manifest.base.number * 2 ** 32 + manifest.sequence;
    return sound.filter((one) => isOfOneJob(one, sound[0])).sort((a, b) => rank(a) - rank(b)).at(-1);
  }

  // "main", "partner" of its set, "newest" of its job, or "aside".
  roleOf(bundle) {
    const { main } = this;
    if (bundle === main) return "main";
    const [own, other] = [main.seal?.manifest, bundle.seal?.manifest];
    if (!own || !other) return "aside";
    if (own.set !== "" && other.set === own.set && !isOfOneJob(main, bundle)) return "partner";
    return isOfOneJob(main, bundle) && other.sequence > own.sequence && this.newerThan(main)[0] === bundle ? "newest" : "aside";
  }

  newerThan(main) {
    const later = ({ seal }) => seal.manifest.sequence - main.seal.manifest.sequence;
    return this.of("bundle").filter((one) => one.seal?.manifest && isOfOneJob(one, main) && later(one) > 0).sort((a, b) => later(b) - later(a));
  }

  // The memory of which a raw read must be, "" where several or none are as large.
  memoryOf({ kind, bytes, memory }) {
    if (this.memories.some(({ name }) => name === memory)) return memory;
    const fitting = kind === "raw" ? this.memories.filter(({ extent }) => extent.end - extent.begin === bytes.length) : [];
    return fitting.length === 1 ? fitting[0].name : "";
  }

  // Memories among which the person must choose, for there is more than one of this size.
  choiceFor({ kind, bytes }) {
    const fitting = kind === "raw" ? this.memories.filter(({ extent }) => extent.end - extent.begin === bytes.length) : [];
    return fitting.length > 1 ? fitting : [];
  }

  get memories() {
    return this.main?.seal?.manifest?.controllers[0].memories ?? [];
  }

  // What is still to be given, as keys of WORDS.missing: {key, memory}.
  missing({ revive, vehicle }) {
    const manifest = this.main?.seal?.manifest;
    if (this.main === null) return [{ key: "bundle" }];
    if (!manifest) return [];
    const unsure = this.reads.some((one) => this.memoryOf(one) === "");
    const given = this.reads.map((one) => this.memoryOf(one));
    const reads = revive || unsure ? [] : this.memories.filter(({ name, known }) => known.length > 0 && !given.includes(name));
    const partner = manifest.set !== "" && !this.of("bundle").some((one) => this.roleOf(one) === "partner");
    return [
      ...reads.map((memory) => ({ key: "read", memory })),
      ...(manifest.salt_digest !== "" && !revive && this.of("salt").length === 0 && !this.keepsSalt ? [{ key: "salt" }] : []),
      ...((manifest.salt_digest === "" || revive) && vehicle === "" ? [{ key: "vehicle" }] : []),
      ...(partner ? [{ key: "partner" }] : []),
    ];
  }

  // The files of a request to checkBundle.
  request() {
    const file = ({ name, bytes }) => ({ name, bytes });
    const one = (kind) => this.of(kind).map(file).at(-1) ?? null;
    const role = (wanted) => this.of("bundle").filter((bundle) => this.roleOf(bundle) === wanted).map(file);
    const claimed = ({ bytes }) => /"claimed_time":"([^"]*)","reason"/.exec(new TextDecoder().decode(bytes))?.[1] ?? "";
    return {
      bundle: this.main === null ? null : file(this.main),
      reads: this.reads.map((read) => ({ memory: this.memoryOf(read), ...file(read) })),
      partners: role("partner"), newest: role("newest")[0] ?? null,
      successions: this.of("successions").sort((a, b) => (claimed(a) < claimed(b) ? -1 : 1)).map(file),
      withdrawals: one("withdrawals"), jobList: one("jobList"), inclusion: one("inclusion"), state: one("state"), salt: one("salt"),
    };
  }
}

// What was read back after the write of the bundle that is checked: reads alone.
export class ReadBackFiles extends GivenFiles {
  constructor(checked) {
    super();
    this.checked = checked;
  }

  add(file) {
    const entry = super.add(file);
    if (![...READS, "empty", "unreadable"].includes(entry.kind)) entry.kind = "notRead";
    return entry;
  }

  get main() {
    return this.checked.main;
  }

  get ready() {
    return "readBack";
  }

  // Without a read-back nothing is asked for: a scan may do.
  get isBegun() {
    return this.reads.length > 0;
  }

  missing() {
    return !this.isBegun ? [] : super.missing({ revive: false, vehicle: "" }).filter(({ key }) => key === "read");
  }
}

function isOfOneJob(a, b) {
  const [first, second] = [a.seal.manifest, b.seal.manifest];
  return first.job === second.job && first.controllers[0].name === second.controllers[0].name;
}
