// Sound situations of a customer's check, each with what is needed to seal its parts anew: the ground from which damages are
// drawn. A situation holds files by role, and `parts`: how each signed file is made from a text.
import crypto from "node:crypto";

import { bundle, keyOf, listEntries, sha256Hex, state, statement, takeApart } from "./forge.mjs";
import { readFixture, readFixtureJson } from "./support.mjs";
import { ORDERED, readsOf, SALT, walnut, walnutMap } from "./walnut.mjs";

export const ROOT = keyOf(1);
export const AUTHOR = keyOf(2);
export const REVIEWER = keyOf(3);
export const DESK = keyOf(6);
export const NEXT_ROOT = keyOf(7);
const MAPPER = keyOf(8);
const TIME = "2026-03-04T05:06:07Z";
const fixture = (name) => Buffer.from(readFixture("bundles", name));

// One file of a situation, with how it is sealed from another text.
function part(text, seal) {
  return { bytes: seal(text), text: Buffer.from(typeof text === "string" ? text : JSON.stringify(text)), seal };
}

export const signedBy = (...keys) => (text) => statement(text, keys);

export function bundlePart(manifest, contents, keys = [AUTHOR]) {
  const whole = { ...manifest, entries: listEntries(contents) };
  return { ...part(whole, (text) => bundle(text, contents, keys)), manifest: whole, contents, keys };
}

export function sealedFixture(name, change = {}) {
  const { manifest, contents } = takeApart(fixture(name));
  return bundlePart({ ...manifest, ...change }, contents);
}

export function digestOf(onePart) {
  return sha256Hex(onePart.text);
}

export function key(from, name, roles, more = {}) {
  return {
    id: from.id, public_key: from.publicKey, name, roles, jobs: [], controllers: [], region_maps: [],
    valid_from: "2026-01-01T00:00:00Z", valid_until: "", state: "active", ...more,
  };
}

export function trustPart(change = {}, root = ROOT, keys = [key(AUTHOR, "Author", ["author"]), key(REVIEWER, "Reviewer", ["reviewer"]), key(DESK, "Desk", ["withdrawal"])]) {
  const value = {
    calseal: "trust/1", version: 1, shop: "Small shop", root: root.publicKey, claimed_time: "2026-01-02T03:04:05Z", next_root: "",
    ledger_heads: [], policy: { threshold: 1 }, keys: [...keys].sort((a, b) => (a.id < b.id ? -1 : 1)), ...change,
  };
  return part(value, signedBy(root));
}

function withdrawalsPart(notices, root = ROOT) {
  const value = {
    calseal: "withdrawal/1", root: root.id, number: 3, claimed_time: "2026-05-06T07:08:09Z", fresh_until: "2099-01-01T00:00:00Z",
    notices: [...notices].sort((a, b) => (a.revision < b.revision ? -1 : 1)),
  };
  return part(value, signedBy(DESK));
}

const notice = (revision, more = {}) => ({
  revision, job: "job-7", controller: "engine", class: "safety", action: "do-not-write", go_to: "", text: "too lean", ...more,
});

function jobListPart(revisions) {
  const rows = revisions.map(({ text, manifest: { base, revision, sequence } }) => ({ digest: sha256Hex(text), base: base.number, revision, sequence }));
  return part({ calseal: "job-list/1", root: ROOT.id, job: "job-7", controller: "engine", claimed_time: "2026-05-06T07:08:09Z", revisions: rows }, signedBy(AUTHOR));
}

const mapTextOf = (contents) => contents.find(({ name }) => name.startsWith("regions/")).content.toString();
export const TINY_MAP = mapTextOf(takeApart(fixture("tiny-revision.calseal")).contents);
const mapOf = (manifest) => manifest.controllers[0].region_map.digest;

// A state of one root that has accepted one revision, with its revisions 0; `maps` are texts.
export function statePart(change, kept = {}, waysBack = [], maps = [TINY_MAP]) {
  const row = { base: 1, sequence: 1, revision: "ab".repeat(32), map: sha256Hex(TINY_MAP), reviewed: false, keys: [AUTHOR.id], set: "", returns: [], ...kept };
  const job = { job: "job-7", controller: "engine", revisions: [row], ways_back: waysBack };
  const root = { root: ROOT.id, next: "", trust_version: 1, trust: "cd".repeat(32), compromised: [], withdrawals: [], jobs: [job], ...change };
  return part({ calseal: "state/1", last_time: "2026-04-04T05:06:07Z", maps, roots: [root] }, state);
}

export function wayBackRow(onePart, more = {}) {
  const { base, sequence } = onePart.manifest;
  return { base: base.number, sequence, revision: digestOf(onePart), map: mapOf(onePart.manifest), reviewed: false, keys: [AUTHOR.id], ...more };
}

export function listRow(number, digest, more = {}) {
  return { number, list: digest, keys: [DESK.id], notices: [], dropped: [], ...more };
}

export function successionPart(oldTrust, from = ROOT, to = NEXT_ROOT) {
  const value = { calseal: "succession/1", old_trust: oldTrust.bytes.toString(), new_root: to.publicKey, claimed_time: "2026-06-01T00:00:00Z", reason: "moved" };
  return part(value, signedBy(from, to));
}

// The ledger holds three entries, ours in the middle.
function inclusionOf(revisionDigest) {
  const hash = (...parts) => crypto.createHash("sha256").update(Buffer.concat(parts)).digest();
  const salt = Buffer.alloc(32, 9);
  const subject = crypto.createHmac("sha256", salt).update(Buffer.from(revisionDigest, "hex")).digest("hex");
  const entry = JSON.stringify({ calseal: "entry/1", kind: "sealed", claimed_time: TIME, subject });
  const [first, own, last] = ["first", entry, "last"].map((line) => hash(Buffer.of(0), Buffer.from(line)));
  const head = { size: 3, root_hash: hash(Buffer.of(1), hash(Buffer.of(1), first, own), last).toString("hex") };
  const value = { calseal: "inclusion/1", entry, salt: salt.toString("hex"), head, index: 1, path: [first.toString("hex"), last.toString("hex")] };
  return { head, part: part(value, (text) => Buffer.from(`${typeof text === "string" ? text : text instanceof Uint8Array ? Buffer.from(text) : JSON.stringify(text)}\n`)) };
}

// Two controllers that are only valid together; the second is the first under another name.
function setOfTwo() {
  const { manifest, contents } = takeApart(fixture("tiny-revision.calseal"));
  const named = (controller) => {
    const map = Buffer.from(contents[0].content.toString().replace('"controller":"engine"', `"controller":"${controller}"`));
    const files = contents.map((one, i) => ({
      ...one, name: one.name.replace("engine", controller), content: i === 0 ? map : one.content,
    }));
    const [own] = manifest.controllers;
    const parts = own.payload.parts.map((one) => ({ ...one, entry: one.entry.replace("engine", controller) }));
    const claims = { ...own, name: controller, region_map: { ...own.region_map, digest: sha256Hex(map) }, payload: { ...own.payload, parts } };
    return { files, claims };
  };
  const both = ["engine", "gearbox"].map(named);
  const set = Buffer.from(JSON.stringify({
    calseal: "set/1",
    job: manifest.job,
    members: both.map(({ claims }) => ({
      controller: claims.name, base: 1, sequence: manifest.sequence, map_digest: claims.region_map.digest, pinned: claims.pinned.after,
    })),
    write_order: ["gearbox", "engine"],
    drivable_between: false,
  }));
  return both.map(({ files, claims }) => {
    const listed = [files[0], files[1], { name: "set.json", deflated: false, content: set }, ...files.slice(2)];
    return bundlePart({ ...manifest, set: sha256Hex(set), controllers: [claims] }, listed);
  });
}

export function situation(name, roles, flags = {}) {
  return {
    name,
    files: { bundle: null, trust: null, reads: [], salt: null, successions: [], state: null, withdrawals: null, jobList: null, inclusion: null, newest: null, partners: [], ...roles },
    flags: { fresh: true, vehicle: "", root: "", revive: false, sealOnly: false, declaredReturn: false, oldBase: false, clockIsRight: false, ...flags },
  };
}

const raw = (bytes) => ({ bytes, text: null, seal: null });

// Every vector that is accepted. The bundles that stand in the folder are taken apart, so that they can be sealed anew.
function fromVectors() {
  const { vectors } = readFixtureJson("bundles", "index.json");
  return vectors.filter(({ expect }) => expect === "accepted").map((row) => {
    const trustText = fixture(row.trust).toString();
    const roles = {
      bundle: { ...sealedFixture(row.bundle), bytes: fixture(row.bundle) },
      trust: { bytes: fixture(row.trust), text: Buffer.from(trustText.slice(0, trustText.indexOf("\n"))), seal: signedBy(ROOT) },
      reads: row.reads.map((read) => {
        const [memory, file] = read.split("=");
        return { memory, ...raw(fixture(file)) };
      }),
      salt: row.salt === "" ? null : raw(fixture(row.salt)),
    };
    return situation(`vector ${row.name}`, roles, { fresh: row.read_is_fresh, vehicle: row.vehicle_reference, root: row.stated_root, revive: row.revive });
  });
}

function inTime() {
  const trust = trustPart();
  const base = sealedFixture("tiny-base.calseal");
  const first = sealedFixture("tiny-revision.calseal", { parent: digestOf(base) });
  const second = sealedFixture("tiny-revision.calseal", { revision: 2, sequence: 3, parent: digestOf(first), permitted_returns: [digestOf(first)] });
  const third = sealedFixture("tiny-revision.calseal", { revision: 3, sequence: 5, parent: digestOf(second), trial: true, expires: "2098-07-06T05:04:03Z" });
  const nextBase = sealedFixture("tiny-base.calseal", { base: { number: 2, reason: "dealer's update" }, sequence: 9, parent: digestOf(third) });
  const seen = sha256Hex(trust.text);
  const tiny = [{ memory: "flash", ...raw(fixture("tiny.bin")) }];
  const flags = { vehicle: "blue estate" };
  const reached = ({ text, manifest: { base: { number }, sequence, permitted_returns: returns } }) => ({ base: number, sequence, revision: sha256Hex(text), returns });
  const stateAfter = (onePart, change = {}) => statePart({ trust: seen, ...change }, reached(onePart), [wayBackRow(base)]);
  const list = withdrawalsPart([notice("11".repeat(32)), notice("ee".repeat(32), { action: "go-back", go_to: digestOf(base) })]);
  const jobList = jobListPart([base, first, second]);
  const one = (name, roles, more = {}) => situation(name, { trust, reads: tiny, ...roles }, { ...flags, ...more });
  return [
    one("new state", { bundle: first, state: raw(Buffer.alloc(0)) }),
    one("newer than the state", { bundle: second, state: stateAfter(first) }),
    one("the state's newest", { bundle: second, state: stateAfter(second) }),
    one("way back with a state", { bundle: base, state: stateAfter(second) }),
    one("return with a state", { bundle: first, state: stateAfter(second) }, { declaredReturn: true }),
    one("return beside the newest", { bundle: first, newest: second }, { declaredReturn: true }),
    one("older than the newest beside it", { bundle: first, newest: second }),
    one("next base", { bundle: nextBase, state: stateAfter(third) }),
    one("way back after another base", { bundle: base, state: stateAfter(nextBase) }),
    one("old base", { bundle: base, state: statePart({ trust: seen }, reached(nextBase)) }),
    one("revive after another base", { bundle: base, reads: [], state: stateAfter(nextBase) }, { revive: true }),
    one("revive after another base, with the word", { bundle: base, reads: [], state: stateAfter(nextBase) }, { revive: true, oldBase: true }),
    one("trial with a state", { bundle: third, state: stateAfter(second) }),
    one("withdrawals", { bundle: first, withdrawals: list }),
    one("withdrawn", { bundle: first, withdrawals: withdrawalsPart([notice(digestOf(first))]) }),
    one("withdrawals and state", { bundle: second, withdrawals: list, state: stateAfter(first) }),
    one("withdrawn before", { bundle: first, state: statePart({ trust: seen, withdrawals: [listRow(2, "99".repeat(32), { notices: [digestOf(first)] })] }, reached(base)) }),
    one("a notice against the way back", { bundle: base, withdrawals: withdrawalsPart([notice(digestOf(base))]) }),
    one("job list", { bundle: second, jobList }),
    one("job list and an older one", { bundle: first, jobList }),
    one("newer than the job list", { bundle: third, jobList }),
    one("everything about time", { bundle: second, jobList, withdrawals: list, state: stateAfter(first), newest: second }),
    one("only the seal", { bundle: second, jobList, withdrawals: list }, { sealOnly: true }),
  ];
}

function byRoots() {
  const bundlePartOfOne = sealedFixture("tiny-revision.calseal");
  const reads = [{ memory: "flash", ...raw(fixture("tiny.bin")) }];
  const flags = { vehicle: "blue estate" };
  const last = trustPart({ version: 4, next_root: NEXT_ROOT.id });
  const next = trustPart({ shop: "Small shop, new root" }, NEXT_ROOT);
  const compromisedKeys = [key(AUTHOR, "Author", ["author"], { state: "compromised" }), key(REVIEWER, "Reviewer", ["author", "reviewer"])];
  const { head, part: inclusion } = inclusionOf(digestOf(bundlePartOfOne));
  const pinned = trustPart({ ledger_heads: [{ size: 2, root_hash: "12".repeat(32) }, head] }, ROOT, compromisedKeys);
  const { manifest, contents } = takeApart(fixture("tiny-revision.calseal"));
  const both = bundlePart(manifest, contents, [AUTHOR, REVIEWER]);
  const strict = bundlePart({ ...manifest, required_roles: ["author", "reviewer"] }, contents, [AUTHOR, REVIEWER]);
  const one = (name, roles, more = {}) => situation(name, { bundle: bundlePartOfOne, reads, ...roles }, { ...flags, ...more });
  return [
    one("succession", { trust: next, successions: [successionPart(last)] }),
    one("succession, state and the old root", { trust: next, successions: [successionPart(last)], state: statePart({ trust: sha256Hex(last.text), trust_version: 4 }) }, { root: ROOT.id }),
    one("a root that was succeeded", { trust: last, state: statePart({ trust: sha256Hex(last.text), trust_version: 4, next: NEXT_ROOT.id }) }),
    one("compromised, with a proof", { trust: pinned, inclusion }),
    one("compromised, signed again", { trust: pinned, bundle: both }),
    one("compromised, signed again, with a proof", { trust: pinned, bundle: both, inclusion }),
    one("two roles", { trust: trustPart({ policy: { threshold: 2 } }), bundle: strict }),
    one("scopes", { trust: trustPart({}, ROOT, [key(AUTHOR, "Author", ["author"], { jobs: ["job-7"], controllers: ["engine"], valid_until: "2027-01-01T00:00:00Z" })]) }),
  ];
}

function bySets() {
  const [engine, gearbox] = setOfTwo();
  const trust = trustPart();
  const flags = { vehicle: "blue estate" };
  const reads = [{ memory: "flash", ...raw(fixture("tiny.bin")) }];
  const stranger = sealedFixture("tiny-revision.calseal");
  return [
    situation("a set of two", { trust, bundle: engine, partners: [gearbox], reads }, flags),
    situation("a set of two, the other way", { trust, bundle: gearbox, partners: [engine], reads }, flags),
    situation("a set with one missing", { trust, bundle: engine, reads }, flags),
    situation("a set, only the seal", { trust, bundle: engine }, { ...flags, sealOnly: true }),
    situation("a set and a stranger", { trust, bundle: engine, partners: [gearbox, stranger], reads }, flags),
    situation("a set, state and withdrawals", { trust, bundle: engine, partners: [gearbox], reads, withdrawals: withdrawalsPart([notice("22".repeat(32))]), state: statePart({ trust: sha256Hex(trust.text) }, { set: "77".repeat(32) }) }, flags),
  ];
}

// A region map that allows more or less than the one that the state keeps, with and without the shop's approval.
function byRules() {
  const first = walnutMap();
  const changed = (change) => {
    const map = { ...walnutMap(), version: 4 };
    change(map);
    return map;
  };
  const wider = changed((map) => map.regions.push({ name: "boot-table", memory: "flash", start: "0x800000d0", size: 16, policy: "editable" }));
  const narrower = changed((map) => map.regions.shift());
  const digest = (map) => sha256Hex(JSON.stringify(map));
  const trust = trustPart({}, ROOT, [key(AUTHOR, "Author", ["author"]), key(MAPPER, "Map desk", ["map-author"])]);
  const approve = (from, to, signer) => {
    const value = { calseal: "approval/1", controller: "engine", from: digest(from), to: digest(to), claimed_time: TIME, text: "a new table" };
    return statement(value, [signer]).toString();
  };
  const sealed = (map, approvals) => {
    const { shape, base, manifest, contents } = walnut({ map, edits: [[0x62, 9]], approvals });
    const reads = readsOf(shape, base).map(({ memory, bytes }) => ({ memory, ...raw(Buffer.from(bytes)) }));
    return { bundle: bundlePart(manifest, contents), reads };
  };
  const known = (maps) => statePart({ trust: sha256Hex(trust.text) }, { map: digest(first) }, [], maps);
  const kept = known([JSON.stringify(first)]);
  const salt = raw(Buffer.from(SALT.toString("hex")));
  const one = (name, state, map, ...approvals) => situation(name, { trust, state, salt, ...sealed(map, approvals) });
  return [
    one("wider rules, approved", kept, wider, approve(first, wider, MAPPER)),
    one("wider rules, approved by the root in two steps", kept, wider, approve(first, narrower, ROOT), approve(narrower, wider, ROOT)),
    one("wider rules, approved by nobody", kept, wider, approve(first, wider, AUTHOR)),
    one("narrower rules", kept, narrower),
    one("other rules after some that were not kept, approved", known([]), narrower, approve(first, narrower, MAPPER)),
    one("the same rules", kept, first),
  ];
}

// A revision of which some was ordered.
function byOrders() {
  const { shape, base, manifest, contents } = walnut(ORDERED);
  const reads = readsOf(shape, base).map(({ memory, bytes }) => ({ memory, ...raw(Buffer.from(bytes)) }));
  return [situation("ordered", { trust: trustPart(), bundle: bundlePart(manifest, contents), reads, salt: raw(Buffer.from(SALT.toString("hex"))) })];
}

export function allSituations() {
  return [...fromVectors(), ...inTime(), ...byRoots(), ...bySets(), ...byRules(), ...byOrders()];
}

// The situation with one signed file that says something else. `change` bends the tree or gives another text; `seal` signs it
// by other keys.
export function changedPart(situation, role, change, seal = undefined) {
  const list = Array.isArray(situation.files[role]);
  const file = list ? situation.files[role][0] : situation.files[role];
  const tree = JSON.parse(file.text.toString());
  const other = { ...file, bytes: (seal ?? file.seal)(change(tree) ?? tree) };
  return { ...situation, files: { ...situation.files, [role]: list ? [other, ...situation.files[role].slice(1)] : other } };
}
