// The customer's question: may this bundle be written to this controller? Nothing switches a check off; what a person
// lays beside the bundle is evidence and only refuses more, except that a permitted return and a seal by a compromised
// key need theirs.

import { cautionsOf, mapIsDraft, rootNotConfirmed } from "./cautions.js";
import { printable, utf8 } from "./bytes.js";
import { readInclusion } from "./inclusion.js";
import { knownJobs, newestAccepted, withdrawnInForce } from "./known.js";
import { explainMisfit } from "./near_miss.js";
import { openSealed } from "./open.js";
import { judgeSet } from "./partners.js";
import { rebuild } from "./proof.js";
import { loadRead } from "./read.js";
import { describeRefusal, Refusal } from "./reason.js";
import { receiptCode } from "./receipt.js";
import { compareWithdrawals, isNewerList, learnList, learnMap, learnRevision, learnTime } from "./remember.js";
import { checkFiles, parseSalt } from "./request_files.js";
import { revive } from "./revive.js";
import { checkCompromised, followChain, rootOfLook } from "./roots.js";
import { parseTime } from "./schema.js";
import { SPOKEN, spokenCode } from "./spoken_code.js";
import { findRoot, newState, readState, writeState } from "./state.js";
import { readJobList, readWithdrawals } from "./statements.js";
import { readTrustChain } from "./succession.js";

const STEP_NAMES = [
  "prefix", "signature", "manifest", "framing", "stored-digests", "trust", "withdrawal", "sequence", "clock", "contents", "rules", "set",
  "match", "claims", "freshness", "rebuild", "confinement", "checksums",
];
const REBUILD_STEPS = STEP_NAMES.slice(STEP_NAMES.indexOf("match"));

const NO_REQUEST = {
  bundle: null, trust: null, statedRoot: "", reads: [], revive: false, sealOnly: false, declaredReturn: false,
  declaredOldBase: false, declaredClock: false,
  evidence: { readIsFresh: false, salt: null, vehicleReference: "" }, successions: [], partners: [],
  state: null, withdrawals: null, jobList: null, inclusion: null, newest: null, salt: null, now: "",
  onStep() {}, // called with name and state of each step that is done
};
const TRUST_AGE_MOST = 400 * 86400; // seconds; docs/order.md, "The trust file"

function listEvidence(request) {
  const { evidence } = request;
  const names = (files) => files.map(({ name }) => printable(name)).join(", ");
  const item = (name, given, detail = "") => ({ name, given, detail });
  const file = (name, one) => item(name, one !== null, one === null ? "" : printable(one.name));
  const word = (name, declared) => item(name, declared, declared ? "declared" : "");
  return [
    item("trust-file", true, printable(request.trust.name)),
    item("root-fingerprint", request.statedRoot !== "", printable(request.statedRoot)),
    item("succession", request.successions.length > 0, names(request.successions)),
    item("read", request.reads.length > 0, names(request.reads)),
    word("read-is-fresh", evidence.readIsFresh),
    item("salt", evidence.salt !== null || request.salt !== null),
    item("vehicle-reference", evidence.vehicleReference !== "", printable(evidence.vehicleReference)),
    file("state", request.state),
    file("withdrawals", request.withdrawals),
    file("job-list", request.jobList),
    file("inclusion", request.inclusion),
    // A page has no ledger's heads to compare with: docs/page.md, "Limits".
    item("ledger-head", false),
    item("partners", request.partners.length > 0, names(request.partners)),
    file("newest", request.newest),
    word("return", request.declaredReturn),
    word("revive", request.revive),
    word("old-base", request.declaredOldBase),
    word("clock-is-right", request.declaredClock),
  ];
}

class Checking {
  constructor(request, verdict) {
    this.request = request;
    this.verdict = verdict;
    this.chain = null;
    this.state = null; // as it was read; order.state is what this chain makes of it
    const { declaredReturn, declaredOldBase, declaredClock } = request;
    this.order = {
      trust: null, state: null, withdrawals: null, withdrawn: new Set(), jobList: null, newest: null,
      hasRead: request.reads.length > 0, declaredReturn, declaredOldBase, declaredClock,
    };
    this.inclusion = null;
    this.opened = null;
    this.partners = [];
  }

  caution(code, text, parts = {}) {
    this.verdict.cautions.push({ code, text, parts });
  }

  mark(name, state) {
    this.verdict.steps.find((step) => step.name === name).state = state;
    this.request.onStep(name, state);
  }

  // Runs one of the normative steps and notes how it went.
  async step(name, work) {
    try {
      const result = await work();
      this.mark(name, "passed");
      return result;
    } catch (fault) {
      this.mark(name, "failed");
      throw fault;
    }
  }

  async run() {
    const { request } = this;
    checkFiles(request);
    if (request.salt !== null) request.evidence.salt = parseSalt(request.salt);
    await this.establishTrust();
    await this.gatherOrder();
    let refusal = null;
    try {
      await this.judge();
    } catch (fault) {
      refusal = fault;
    }
    if (this.state !== null) {
      if (refusal === null && !request.sealOnly) await this.rememberAcceptance();
      else await this.rememberLook();
    }
    if (refusal !== null) throw refusal;
  }

  // Whom to believe: the trust file, the way to its root, and what the state says about both.
  async establishTrust() {
    const { trust: file, successions, statedRoot, state } = this.request;
    this.chain = await readTrustChain(file, successions, statedRoot);
    const { trust } = this.chain;
    this.order.trust = trust;
    Object.assign(this.verdict, {
      shop: trust.shop, rootFingerprint: spokenCode(SPOKEN.key, trust.rootId), trustVersion: trust.version, trustTime: trust.claimed_time,
    });
    if (statedRoot === "") this.verdict.cautions.push(rootNotConfirmed(this.verdict.rootFingerprint));
    this.noteAge();
    if (state !== null) this.state = await this.readState(state);
    if (this.state !== null) this.order.state = await followChain(this.chain, this.state, statedRoot, file.name);
    checkCompromised(this.chain, this.order.state, file.name);
  }

  // Somebody may be keeping newer trust files back.
  noteAge() {
    const { claimed_time: claimed } = this.chain.trust;
    const age = parseTime(this.request.now) - parseTime(claimed);
    if (age < TRUST_AGE_MOST) return;
    const days = Math.floor(age / 86400);
    this.caution("trust-file-old", `the trust file is of ${claimed}, ${days} days ago: ask the shop whether it has a newer one`, { days });
  }

  // A state that cannot be read is as good as none, and is never written over.
  async readState({ name, bytes }) {
    let state = null;
    try {
      state = bytes.length === 0 ? newState() : await readState(bytes, name);
    } catch (fault) {
      if (!(fault instanceof Refusal)) throw fault;
      this.caution(
        "state-damaged",
        `the state was changed or damaged (${fault.place}, found ${fault.found}): it counts for nothing; ${fault.next}`,
      );
    }
    if (state?.roots.length === 0) {
      this.caution("state-new", "no state yet: whether something newer was accepted before cannot be told");
    }
    return state;
  }

  async learnGivenList(root) {
    if (this.order.withdrawals !== null) await learnList(root, this.order.withdrawals, this.chain.trust);
  }

  // A refusal and a look at the seal teach neither a root's successor nor a revision.
  async rememberLook() {
    const root = await rootOfLook(this.state, this.chain, this.request.statedRoot);
    if (root !== null) await this.learnGivenList(root);
    this.verdict.stateAfterLook = await this.readableState(this.state);
  }

  async rememberAcceptance() {
    const { state } = this.order;
    const root = findRoot(state, this.chain.trust.rootId);
    await this.learnGivenList(root);
    const isWayBack = this.opened.manifest.revision === 0;
    // Nobody writes a revision 0 that is in the controller already.
    if (isWayBack) this.rememberRevision(root);
    this.verdict.stateAfterLook = await this.readableState(state);
    if (!isWayBack) this.rememberRevision(root);
    learnTime(state, this.request.now, this.newestSignedTime(), this.request.declaredClock);
    this.verdict.stateAfterWrite = await this.readableState(state);
  }

  rememberRevision(root) {
    if (!learnRevision(root, this.opened)) {
      this.caution("way-back-not-kept", "the state keeps as many revisions 0 of this job as it can; this one is not kept as a way back");
    }
    if (!learnMap(this.order.state, this.opened)) {
      this.caution("rules-not-kept", "the state has no room for this revision's region map: whether the next one allows more cannot be told then");
    }
  }

  newestSignedTime() {
    const { withdrawals, jobList } = this.order;
    const signed = [this.opened.manifest, this.chain.trust, withdrawals, jobList].filter((one) => one !== null);
    return signed.map((one) => one.claimed_time).sort().at(-1);
  }

  // "", and the old file stays, when the state would be larger than a reader takes.
  async readableState(state) {
    if (state.roots.length === 0) return "";
    const text = await writeState(state);
    try {
      await readState(utf8(text), this.request.state.name);
      return text;
    } catch (fault) {
      if (!(fault instanceof Refusal)) throw fault;
      this.caution(
        "state-full",
        "the state holds as much as it can and was left as it is: this revision is not remembered; begin a new state for further shops and jobs",
      );
      return "";
    }
  }

  // What else the person laid beside the bundle about its place in time.
  async gatherOrder() {
    const { withdrawals, jobList, inclusion, newest, now } = this.request;
    const { trust } = this.chain;
    const { state } = this.order;
    if (state !== null) this.order.withdrawn = withdrawnInForce(state, trust);
    if (withdrawals !== null) {
      const list = await readWithdrawals(withdrawals.bytes, trust, withdrawals.name);
      if (state !== null) {
        await compareWithdrawals(list, state, trust, withdrawals.name);
        if (isNewerList(list, state, trust)) this.order.withdrawn = new Set();
      }
      if (list.fresh_until <= now) {
        this.caution("withdrawals-stale", `the list of withdrawals was fresh until ${list.fresh_until}: ask the shop for a newer one`, { time: list.fresh_until });
      }
      this.order.withdrawals = list;
    }
    if (jobList !== null) this.order.jobList = await readJobList(jobList.bytes, trust, jobList.name);
    if (inclusion !== null) this.inclusion = readInclusion(inclusion.bytes, inclusion.name);
    if (newest !== null) this.order.newest = await this.open(newest, null, (_, work) => work());
  }

  open(file, order, step) {
    return openSealed(file, { trust: this.chain.trust, now: this.request.now, order, inclusion: this.inclusion }, step);
  }

  async judge() {
    const { request, verdict } = this;
    this.opened = await this.open(request.bundle, this.order, (name, work) => this.step(name, work));
    const { manifest, digest, signers, passage, cautions } = this.opened;
    Object.assign(verdict, { manifest, manifestDigest: digest, phrase: spokenCode(SPOKEN.revision, digest), signers, passage });
    // What the shop may do now and might not before comes first.
    const isFirst = ({ code }) => code === "rules-widened";
    verdict.cautions = [...cautions.filter(isFirst), ...verdict.cautions, ...cautions.filter((one) => !isFirst(one))];
    this.checkBelongings();
    await this.checkPartners();
    this.noteCautions();
    if (request.sealOnly) return;
    if (request.reads.length > 0) await this.judgeRead();
    else if (request.revive) await this.judgeRevival();
    else {
      const next = manifest.revision === 0
        ? "give the read; or, when the controller can no longer be read, revive with the vehicle reference"
        : "give the read; to look at the seal alone, ask for that";
      throw new Refusal("read-missing", { found: "no read", expected: "the controller's own read, from before this write", next });
    }
  }

  // Lists are of one job and controller; beside another bundle they would say nothing or mislead.
  checkBelongings() {
    const { job, controllers: [{ name: controller }] } = this.opened.manifest;
    const expected = `${job}, ${controller}`;
    const { jobList, newest } = this.order;
    if (jobList !== null && (jobList.job !== job || jobList.controller !== controller)) {
      throw new Refusal("job-list-invalid", {
        file: this.request.jobList.name,
        place: "job",
        found: `${jobList.job}, ${jobList.controller}`,
        expected,
        next: "give the list of this job and controller",
      });
    }
    if (newest !== null && (newest.manifest.job !== job || newest.manifest.controllers[0].name !== controller)) {
      throw new Refusal("usage", {
        file: this.request.newest.name,
        place: "newest",
        found: "a bundle of another job or controller",
        expected,
        next: "give the newest bundle of the same job and controller",
      });
    }
  }

  async checkPartners() {
    const order = { ...this.order, jobList: null, newest: null };
    for (const file of this.request.partners) this.partners.push(await this.open(file, order, (_, work) => work()));
    await this.step("set", () => judgeSet(this.opened, this.partners, !this.request.sealOnly, this.verdict));
  }

  noteCautions() {
    const { manifest, digest, map, passage } = this.opened;
    const { jobList } = this.order;
    if (jobList === null) {
      this.caution(
        "newest-unknown",
        `sealed ${manifest.claimed_time} (claimed); without a network nobody can tell whether a newer revision exists`,
        { time: manifest.claimed_time },
      );
    } else if (!jobList.revisions.some((one) => one.digest === digest)) {
      this.caution("list-older", `newer than the shop's list of ${jobList.claimed_time}`, { time: jobList.claimed_time });
    }
    if (map.grade !== "verified") this.verdict.cautions.push(mapIsDraft(map));
    if (manifest.trial) this.caution("trial", `a trial revision; it expires at ${manifest.expires}`, { time: manifest.expires });
    if (passage === "way-back") this.caution("way-back", "revision 0, after newer revisions: everything that was tuned is taken out");
    if (passage === "return") this.caution("return", "an earlier revision, permitted by the newest one; the newest stays known as the newest");
    this.noteLeftSet();
    const computed = cautionsOf(manifest, map);
    this.verdict.cautions.push(...computed);
    for (const text of manifest.cautions) {
      if (!computed.some((one) => one.text === text)) this.caution("shop", text);
    }
  }

  // A controller that leaves its set leaves partners behind.
  noteLeftSet() {
    const { manifest } = this.opened;
    const jobs = knownJobs(this.order, manifest.job, manifest.controllers[0].name);
    const set = newestAccepted(jobs, this.chain.trust)?.set ?? "";
    if (set === "" || set === manifest.set) return;
    this.caution(
      "set-left",
      "the revision accepted before belongs to a set, and this one does not belong to it: the partner controllers must leave the set too, before the engine is started",
    );
  }

  async judgeRead() {
    const { reads, evidence } = this.request;
    let read = null;
    try {
      read = await loadRead(this.opened.map, reads);
      await this.rebuildWith((note) => rebuild(this.opened, read, evidence, note));
    } catch (fault) {
      throw fault instanceof Refusal ? await explainMisfit(fault, this.opened, read, reads, this.partners, this.order.newest) : fault;
    }
  }

  async judgeRevival() {
    const { manifest } = this.opened;
    if (manifest.revision !== 0) {
      throw new Refusal("read-missing", {
        found: `no read, and revision ${manifest.revision}`,
        expected: "the controller's read; only revision 0 can be written without one",
        next: "give the read, or use revision 0",
      });
    }
    const { salt, vehicleReference } = this.request.evidence;
    if (vehicleReference === "") {
      throw new Refusal("vehicle-not-provable", {
        place: "vehicle_reference",
        found: "no read and no vehicle reference",
        expected: "the word by which you and the shop call this vehicle",
        next: "give the vehicle reference",
      });
    }
    await this.rebuildWith((note) => revive(this.opened, { readIsFresh: true, salt, vehicleReference }, note));
    this.verdict.vehicle = "asserted";
  }

  // The image half tells which of its steps have passed; when it refuses, the next one has failed.
  async rebuildWith(work) {
    const left = [...REBUILD_STEPS];
    try {
      const { vehicle, editableShare, bytesToChange, cautions, files } = await work((name) => {
        this.mark(name, "passed");
        left.splice(left.indexOf(name), 1);
      });
      Object.assign(this.verdict, { vehicle, editableShare, bytesToChange, files });
      this.verdict.cautions.push(...cautions);
    } catch (fault) {
      if (left.length > 0) this.mark(left[0], "failed");
      throw fault;
    }
  }
}

export async function checkBundle(given) {
  const request = { ...NO_REQUEST, ...given, evidence: { ...NO_REQUEST.evidence, ...given.evidence } };
  const verdict = {
    outcome: "refused",
    reason: null,
    steps: STEP_NAMES.map((name) => ({ name, state: "not-reached" })),
    evidence: listEvidence(request),
    cautions: [],
    manifest: null,
    manifestDigest: "",
    phrase: "",
    receiptCode: "",
    signers: [],
    shop: "",
    rootFingerprint: "",
    trustVersion: 0,
    trustTime: "",
    passage: "unknown",
    partners: [],
    drivableBetween: false,
    vehicle: "none",
    editableShare: 0,
    bytesToChange: 0,
    files: [],
    stateAfterLook: "",
    stateAfterWrite: "",
  };
  try {
    await new Checking(request, verdict).run();
    verdict.outcome = request.sealOnly ? "authentic" : "accepted";
    verdict.receiptCode = await receiptCode(verdict, request.evidence.salt);
    if (request.sealOnly) {
      for (const step of verdict.steps) if (step.state === "not-reached") step.state = "not-asked";
    }
  } catch (fault) {
    const refusal = fault instanceof Refusal ? fault : new Refusal("internal", { found: String(fault), next: "report this" });
    if (!(fault instanceof Refusal)) console.error(fault);
    verdict.reason = describeRefusal(refusal);
    verdict.reason.file ||= request.bundle.name;
    verdict.files = [];
  }
  return verdict;
}
