// One row for each rule that neither vectors nor chance are sure to reach: what is bent, and the reason that both sides must
// give.
import assert from "node:assert/strict";
import { test } from "node:test";

import { differences } from "./answers.mjs";
import { askBoth } from "./both.mjs";
import { bundle, keyOf, listEntries, sha256Hex, state, statement } from "./forge.mjs";
import { allSituations, AUTHOR, changedPart, DESK, digestOf, key, listRow, NEXT_ROOT, REVIEWER, ROOT, sealedFixture, signedBy, statePart, successionPart, trustPart, wayBackRow } from "./scenarios.mjs";

const situations = new Map(allSituations().map((one) => [one.name, one]));
const STRANGER = keyOf(4);
const FUTURE = "2098-01-01T00:00:00Z";
const hex = (i) => i.toString(16).padStart(64, "0");

function from(name, more = {}, flags = {}) {
  const { files, flags: own } = situations.get(name);
  return { name, files: { ...files, ...more }, flags: { ...own, ...flags } };
}
const bent = (name, role, change, seal) => changedPart(situations.get(name), role, change, seal);
const inMap = (change) => (contents) => {
  const map = JSON.parse(contents[0].content.toString());
  change(map);
  return [{ ...contents[0], content: Buffer.from(JSON.stringify(map)) }, ...contents.slice(1)];
};

// A bundle with other contents, sealed as if they were right.
function withContents(name, change, also = () => {}) {
  const situation = situations.get(name);
  const file = situation.files.bundle;
  const contents = change(file.contents);
  const manifest = structuredClone({ ...file.manifest, entries: listEntries(contents) });
  manifest.controllers[0].region_map.digest = sha256Hex(contents[0].content);
  const set = contents.find((one) => one.name === "set.json");
  if (set) manifest.set = sha256Hex(set.content);
  also(manifest);
  return { ...situation, files: { ...situation.files, bundle: { ...file, bytes: bundle(manifest, contents, file.keys) } } };
}
function withSet(change) {
  return withContents("a set with one missing", (contents) => contents.map((one) => {
    if (one.name !== "set.json") return one;
    const set = JSON.parse(one.content.toString());
    return { ...one, content: Buffer.from(JSON.stringify(change(set) ?? set)) };
  }));
}

const controller = (change) => (tree) => change(tree.controllers[0], tree);
const TINY = "vector tiny-revision";
const SMALL = "vector small-revision";
const weak = "01".padEnd(64, "0");

const manifestRows = [
  ["no memory", TINY, controller((c) => void (c.memories = []))],
  ["one memory twice", SMALL, controller((c) => void (c.memories[1].name = c.memories[0].name))],
  ["known bytes outside the memory", TINY, controller((c) => void (c.memories[0].known = [{ start: "0x80000000", size: 65 }]))],
  ["memories of more than 256 MiB", SMALL, controller((c) => c.memories.forEach((one) => Object.assign(one, { origin: "0x00000000", size: 2 ** 28, known: [] })))],
  ["an unknown memory that makes them too large", TINY, controller((c) => {
    c.memories.push({ name: "more", origin: "0x00000000", size: 2 ** 28, known: [] });
    c.spans.push({ memory: "more", start: "0x00000000", size: 2 ** 28, kind: "locked", before: "", after: "" });
  })],
  ["a digest of a binding field that is unknown", SMALL, controller((c) => {
    const field = c.binding.find(({ digest }) => digest !== "");
    const memory = c.memories.find(({ name }) => name === field.memory);
    const [at, end] = [Number(field.start), Number(field.start) + field.size];
    const range = (begin, stop) => ({ start: `0x${begin.toString(16).padStart(8, "0")}`, size: stop - begin });
    memory.known = memory.known.flatMap(({ start, size }) => {
      const [begin, stop] = [Number(start), Number(start) + size];
      if (stop <= at || begin >= end) return [range(begin, stop)];
      return [[begin, at], [end, stop]].filter(([a, b]) => a < b).map(([a, b]) => range(a, b));
    });
  })],
  ["one binding field twice", SMALL, controller((c) => c.binding.forEach((one) => (one.name = c.binding[0].name)))],
  ["a binding field outside", SMALL, controller((c) => void (c.binding[0].start = "0x00000000"))],
  ["a write range over two memories", SMALL, controller((c) => void (c.write_ranges[0].memory = "other"))],
  ["a write range over volatile bytes", SMALL, controller((c) => {
    const { memory, start, size } = c.spans.find(({ kind }) => kind === "volatile");
    c.write_ranges = [{ memory, start, size }];
  })],
  ["one patch twice", SMALL, controller((c) => void c.patches.push(c.patches[0]))],
  ["a part of no memory", TINY, controller((c) => void (c.payload.parts[0].memory = "none"))],
  ["parts in another order", SMALL, controller((c) => void c.payload.parts.push(c.payload.parts[0]))],
  ["one option twice", TINY, (tree) => void (tree.options = [1, 2].map((i) => ({ name: "same", title: "", digest: hex(i) })))],
  ["an order in a revision 0", "way back with a state", (tree) => void (tree.ordered.time = "2026-02-28T23:59:59Z")],
  ["an ordered option without a time", "ordered", (tree) => void Object.assign(tree.ordered, { time: "", parcel: "" })],
  ["a parcel without a time", "ordered", (tree) => void Object.assign(tree.ordered, { time: "", options: [] })],
  ["an ordered option that is missing, and nobody says why", "ordered", (tree) => void (tree.ordered.options[1].why = "")],
  ["a reason against an option that is in the revision", "ordered", (tree) => void (tree.ordered.options[0].why = "later")],
  ["ordered options in another order", "ordered", (tree) => void tree.ordered.options.reverse()],
  ["one ordered option twice", "ordered", (tree) => void tree.ordered.options.push(tree.ordered.options[2])],
  ["an ordered option under another title", "ordered", (tree) => void (tree.ordered.options[2].title = "Launch")],
  ["attachments in another order", TINY, (tree) => void (tree.attachments = ["b", "a"].map((one) => ({ entry: `attachments/${one}`, title: "" })))],
  ["a further entry", TINY, (tree) => void tree.entries.push({ ...tree.entries[0], name: "attachments/a" })],
].map(([what, name, change]) => [what, () => bent(name, "bundle", change), "manifest-invalid"]);

const openRows = [
  ["no controller", () => bent(TINY, "bundle", (tree) => void (tree.controllers = [])), "json-value"],
  ["an annotation of one", () => bent(TINY, "bundle", (tree) => void (tree.annotations = [["a"]])), "json-value"],
  ["the map's controller", () => withContents(TINY, inMap((map) => void (map.controller = "gearbox"))), "claim-mismatch"],
  ["the map's name", () => withContents(TINY, inMap((map) => void (map.name = "other"))), "claim-mismatch"],
  ["the map's grade", () => bent(TINY, "bundle", controller((c) => void (c.region_map.grade = "verified"))), "claim-mismatch"],
  ["the map's memory", () => withContents(TINY, inMap((map) => void (map.memories[0].size = 128))), "claim-mismatch"],
  ["a second memory in the map", () => withContents(TINY, inMap((map) => map.memories.push({ name: "more", origin: "0x00000000", size: 16 }))), "claim-mismatch"],
  ["a set of another job", () => withSet((set) => void (set.job = "job-8")), "claim-mismatch"],
  ...["base", "sequence"].map((field) => [`another ${field} in the set`, () => withSet((set) => set.members.forEach((one) => (one[field] += 1))), "claim-mismatch"]),
  ...["map_digest", "pinned"].map((field) => [`another ${field} in the set`, () => withSet((set) => set.members.forEach((one) => (one[field] = hex(1)))), "claim-mismatch"]),
  ["a set of others", () => withSet((set) => {
    set.members.forEach((one) => (one.controller = one.controller.replace("engine", "fan")));
    set.members.sort((a, b) => (a.controller < b.controller ? -1 : 1));
    set.write_order = set.members.map((one) => one.controller);
  }), "claim-mismatch"],
  ["a set of one", () => withSet((set) => Object.assign(set, { members: set.members.slice(0, 1), write_order: ["engine"] })), "manifest-invalid"],
  ["a set in another order", () => withSet((set) => void set.members.reverse()), "manifest-invalid"],
  ["a set of seventeen", () => withSet((set) => void (set.members = Array.from({ length: 17 }, () => set.members[0]))), "json-value"],
];

const last = trustPart({ version: 4, next_root: NEXT_ROOT.id });
const third = keyOf(8);
const next = situations.get("succession").files.trust;
const nextAnnounces = trustPart({ next_root: third.id }, NEXT_ROOT);
const steps = (successions, trust = next, flags = {}) => () => from("succession", { successions, trust }, flags);
const successionRows = [
  ["two steps", steps([successionPart(last), successionPart(nextAnnounces, NEXT_ROOT, third)], trustPart({}, third)), "accepted"],
  ["two steps, the middle root told", steps([successionPart(last), successionPart(nextAnnounces, NEXT_ROOT, third)], trustPart({}, third), { root: NEXT_ROOT.id }), "accepted"],
  ["two steps, another root told", steps([successionPart(last), successionPart(nextAnnounces, NEXT_ROOT, third)], trustPart({}, third), { root: STRANGER.id }), "root-mismatch"],
  ["two steps, turned round", steps([successionPart(nextAnnounces, NEXT_ROOT, third), successionPart(last)], trustPart({}, third)), "succession-invalid"],
  ["a step that was not announced", steps([successionPart(trustPart({ next_root: STRANGER.id }))]), "succession-invalid"],
  ["no step announced", steps([successionPart(trustPart())]), "succession-invalid"],
  ["a root that follows itself", steps([successionPart(trustPart({ next_root: ROOT.id }), ROOT, ROOT)], trustPart()), "succession-invalid"],
  ["a step to another root", steps([successionPart(last)], trustPart({}, third)), "succession-invalid"],
  ["a step back", steps([successionPart(last), successionPart(trustPart({ next_root: ROOT.id }, NEXT_ROOT), NEXT_ROOT, ROOT)], trustPart()), "succession-invalid"],
  ["signed by the old root alone", () => bent("succession", "successions", () => {}, signedBy(ROOT)), "succession-invalid"],
  ["signed by three", () => bent("succession", "successions", () => {}, signedBy(ROOT, NEXT_ROOT, STRANGER)), "succession-invalid"],
  ["signed by another", () => bent("succession", "successions", () => {}, signedBy(ROOT, STRANGER)), "succession-invalid"],
  ["a new root that is weak", () => bent("succession", "successions", (tree) => void (tree.new_root = weak)), "key-weak"],
  ["an old trust file that is damaged", () => bent("succession", "successions", (tree) => void (tree.old_trust = tree.old_trust.replace("Small", "small"))), "succession-invalid"],
  ["seventeen steps", steps(Array.from({ length: 17 }, () => successionPart(last))), "succession-invalid"],
];

const list = (change, seal) => () => bent("withdrawals", "withdrawals", change, seal);
const trusted = (keys) => trustPart({}, ROOT, keys);
const desk = (more) => trusted([key(AUTHOR, "Author", ["author"]), key(DESK, "Desk", ["withdrawal"], more)]);
const listRows = [
  ["fresh for no time", list((tree) => void (tree.fresh_until = tree.claimed_time)), "withdrawals-invalid"],
  ["notices in another order", list((tree) => void tree.notices.reverse()), "withdrawals-invalid"],
  ["a goal without going back", list((tree) => void (tree.notices[0].go_to = hex(5))), "withdrawals-invalid"],
  ["going back to itself", list((tree) => void Object.assign(tree.notices[0], { action: "go-back", go_to: tree.notices[0].revision })), "withdrawals-invalid"],
  ["of another root", list((tree) => void (tree.root = NEXT_ROOT.id)), "withdrawals-invalid"],
  ["by an author", list(() => {}, signedBy(AUTHOR)), "roles-missing"],
  ["by an author too", list(() => {}, signedBy(AUTHOR, DESK)), "roles-missing"],
  ["by a stranger", list(() => {}, signedBy(STRANGER)), "signer-unknown"],
  ["under a signature of something else", list(() => {}, (tree) => {
    const [line] = statement(tree, [DESK]).toString().split("\n");
    return Buffer.from(`${line}\n${statement("other", [DESK]).toString().split("\n")[1]}\n`);
  }), "signature-bad"],
  ["by a compromised key", () => from("withdrawals", { trust: desk({ state: "compromised" }) }), "key-compromised"],
  ["by a key of one job", () => from("withdrawals", { trust: desk({ jobs: ["job-7"] }) }), "key-scope"],
  ["by a key of one region map", () => from("withdrawals", { trust: desk({ region_maps: [hex(1)] }) }), "accepted"],
  ["by a key of later", () => from("withdrawals", { trust: desk({ valid_from: "2026-05-06T07:08:10Z" }) }), "key-validity"],
  ["until this very second", () => from("withdrawals", { trust: desk({ valid_until: "2026-05-06T07:08:09Z" }) }), "key-validity"],
  ["no longer fresh", list((tree) => void (tree.fresh_until = "2026-05-06T07:08:10Z")), "accepted"],
];

const jobs = (change, seal) => () => bent("job list", "jobList", change, seal);
const author = (more) => trusted([key(AUTHOR, "Author", ["author"], more), key(DESK, "Desk", ["withdrawal"])]);
const jobListRows = [
  ["of nothing", jobs((tree) => void (tree.revisions = [])), "job-list-invalid"],
  ["a sequence that is not above its revision", jobs((tree) => void (tree.revisions[1].sequence = tree.revisions[1].revision)), "job-list-invalid"],
  ["one revision twice", jobs((tree) => void (tree.revisions[1].digest = tree.revisions[0].digest)), "job-list-invalid"],
  ["sequences that fall", jobs((tree) => void tree.revisions.reverse()), "job-list-invalid"],
  ["bases that fall", jobs((tree) => void (tree.revisions[0].base = 2)), "job-list-invalid"],
  ["of another root", jobs((tree) => void (tree.root = NEXT_ROOT.id)), "job-list-invalid"],
  ["of another job", jobs((tree) => void (tree.job = "job-8")), "job-list-invalid"],
  ["of another controller", jobs((tree) => void (tree.controller = "gearbox")), "job-list-invalid"],
  ["by the desk", jobs(() => {}, signedBy(DESK)), "roles-missing"],
  ["by a key of another job", () => from("job list", { trust: author({ jobs: ["job-8"] }) }), "key-scope"],
  ["by a compromised key", () => from("job list", { trust: author({ state: "compromised" }) }), "key-compromised"],
  ["with a newer base", jobs((tree) => void (tree.revisions[2].base = 2)), "base-old"],
  ["without this revision", jobs((tree) => void (tree.revisions[2].digest = hex(3))), "not-listed"],
  ["newest of another job", () => from("return beside the newest", { newest: sealedFixture("tiny-base.calseal", { job: "job-8" }) }), "usage"],
];

const proof = (change, seal) => () => bent("compromised, with a proof", "inclusion", change, seal);
const entry = (change) => proof((tree) => {
  const line = JSON.parse(tree.entry);
  change(line);
  tree.entry = JSON.stringify(line);
});
const proofRows = [
  ["without a line end", proof(() => {}, (tree) => Buffer.from(JSON.stringify(tree))), "inclusion-invalid"],
  ["an entry of another kind of text", entry((line) => void (line.calseal = "entry/2")), "inclusion-invalid"],
  ["an entry of another kind", entry((line) => void (line.kind = "sent")), "inclusion-invalid"],
  ["an entry of another revision", entry((line) => void (line.subject = hex(1))), "inclusion-invalid"],
  ["an entry of another time", entry((line) => void (line.claimed_time = "2026-03-04T05:06:08Z")), "inclusion-invalid"],
  ["another salt", proof((tree) => void (tree.salt = hex(1))), "inclusion-invalid"],
  ["another size of the head", proof((tree) => void (tree.head.size = 4)), "inclusion-invalid"],
  ["another place", proof((tree) => void (tree.index = 0)), "inclusion-invalid"],
  ["a place behind the head", proof((tree) => void (tree.index = 3)), "inclusion-invalid"],
  ["a shorter path", proof((tree) => void tree.path.pop()), "inclusion-invalid"],
  ["a longer path", proof((tree) => void tree.path.push(hex(1))), "inclusion-invalid"],
  ["a proof that nobody needs", () => from("compromised, signed again, with a proof", { inclusion: proof((tree) => void (tree.index = 0))().files.inclusion }), "accepted"],
  ["no proof and no other signature", () => from("compromised, with a proof", { inclusion: null }), "key-compromised"],
  ["a signature by a reviewer twice over", () => from("two roles", { bundle: { bytes: bundle(situations.get("two roles").files.bundle.text, situations.get("two roles").files.bundle.contents, [REVIEWER]) } }), "roles-missing"],
];

const seen = sha256Hex(situations.get("newer than the state").files.trust.text);
const remembered = (rootFields, kept, waysBack) => () => from("newer than the state", { state: statePart({ trust: seen, ...rootFields }, kept, waysBack) });
const inState = (change) => () => bent("newer than the state", "state", change);
const inRoot = (change) => inState((tree) => void change(tree.roots[0]));
const inJob = (change) => inRoot((root) => void change(root.jobs[0]));
const stolen = [key(AUTHOR, "Author", ["author"], { state: "compromised" }), key(REVIEWER, "Reviewer", ["author", "reviewer"]), key(DESK, "Desk", ["withdrawal"])];
const { manifest: secondManifest, contents: secondContents } = situations.get("newer than the state").files.bundle;
const signedAgain = () => ({ bytes: bundle(secondManifest, secondContents, [AUTHOR, REVIEWER]) });
// Under a trust file that calls the author's key stolen.
const afterTheft = (rootFields, kept, more = {}) => () =>
  from("newer than the state", { trust: trustPart({ version: 2 }, ROOT, stolen), bundle: signedAgain(), state: statePart({ trust: seen, ...rootFields }, kept), ...more });
const oldDesk = keyOf(12);
const stolenDesk = [key(AUTHOR, "Author", ["author"]), key(DESK, "Desk", ["withdrawal"]), key(oldDesk, "Old desk", ["withdrawal"], { state: "compromised" })];
const ours = digestOf(situations.get("newer than the state").files.bundle);
const lists = (withdrawals, more = {}) => () =>
  from("newer than the state", { trust: trustPart({ version: 2 }, ROOT, stolenDesk), state: statePart({ trust: seen, withdrawals }), ...more });
const givenList = situations.get("withdrawals and state").files.withdrawals;
const fork = (flags) => () => from("succession", { state: statePart({ trust: hex(1), trust_version: 4, next: third.id }) }, flags);
const stateRows = [
  ["a newer trust file was seen", remembered({ trust_version: 2 }), "trust-old"],
  ["another trust file of this version", remembered({ trust: hex(1) }), "trust-old"],
  ["a root that was succeeded", remembered({ next: hex(1) }), "trust-old"],
  ["another root was seen", inRoot((root) => void (root.root = hex(1))), "root-unrelated"],
  ["another root was seen, and this one is stated", () => from("newer than the state", { state: statePart({ root: hex(1) }) }, { root: ROOT.id }), "accepted"],
  ["another successor was seen", fork({}), "succession-fork"],
  ["another successor was seen, and the old root is stated", fork({ root: ROOT.id }), "succession-fork"],
  ["another successor was seen, and this one is stated", fork({ root: NEXT_ROOT.id }), "accepted"],
  ["a stolen key that is active", remembered({ compromised: [AUTHOR.id] }), "key-reinstated"],
  ["a stolen key that is left out", remembered({ compromised: [hex(1)] }), "key-reinstated"],
  ["a stolen key that a succession names", () => from("succession", { successions: [successionPart(trustPart({ version: 4, next_root: NEXT_ROOT.id }, ROOT, stolen))] }), "key-reinstated"],
  ["another beginning", () => from("newer than the state", { state: { bytes: state('{"calseal":"state/2","last_time":"","roots":[]}') } }), "accepted"],
  ["another sum", inState(() => {}), "accepted"],
  ["no root", inState((tree) => void (tree.roots = [])), "accepted"],
  ["roots in another order", inState((tree) => void (tree.roots = [{ ...tree.roots[0], root: hex(2) }, { ...tree.roots[0], root: hex(1) }])), "accepted"],
  ["a root that followed itself", inRoot((root) => void (root.next = root.root)), "accepted"],
  ["a list of nobody", remembered({ withdrawals: [listRow(1, hex(1), { keys: [] })] }), "accepted"],
  ["two lists of one set of keys", remembered({ withdrawals: [listRow(1, hex(1)), listRow(2, hex(2))] }), "accepted"],
  ["a notice that is dropped too", remembered({ withdrawals: [listRow(1, hex(1), { notices: [ours], dropped: [ours] })] }), "accepted"],
  ["returns in another order", remembered({}, { returns: [hex(2), hex(1)] }), "accepted"],
  ["keys in another order", remembered({}, { keys: [hex(2), hex(1)] }), "accepted"],
  ["a job of nothing", inJob((job) => void (job.revisions = [])), "accepted"],
  ["a revision that covers another", inJob((job) => void job.revisions.unshift({ ...job.revisions[0], sequence: 1 })), "accepted"],
  ["jobs in another order", inRoot((root) => void (root.jobs = ["b", "a"].map((job) => ({ ...root.jobs[0], job })))), "accepted"],
  ["an older list was seen", () => from("withdrawals and state", { state: statePart({ trust: seen, withdrawals: [listRow(4, hex(1))] }) }), "withdrawals-old"],
  ["another list of this number", () => from("withdrawals and state", { state: statePart({ trust: seen, withdrawals: [listRow(3, hex(1))] }) }), "withdrawals-old"],
  ["the same list again", () => from("withdrawals and state", { state: statePart({ trust: seen, withdrawals: [listRow(3, digestOf(givenList))] }) }), "accepted"],
  ["the same list again, which names this one", () => from("withdrawals and state", { state: statePart({ trust: seen, withdrawals: [listRow(3, digestOf(givenList), { notices: [ours] })] }) }), "withdrawn"],
  ["a list of a stolen key", lists([listRow(1, hex(1)), listRow(9, hex(2), { keys: [oldDesk.id], notices: [ours] })]), "withdrawn"],
  ["what a stolen key dropped", lists([listRow(1, hex(1), { notices: [ours] }), listRow(9, hex(2), { keys: [oldDesk.id] })]), "withdrawn"],
  ["what an honest key dropped", lists([listRow(8, hex(2), { keys: [oldDesk.id], notices: [ours] }), listRow(9, hex(1), { dropped: [ours] })]), "accepted"],
  ["a list below a stolen key's", lists([listRow(1, hex(1)), listRow(9, hex(2), { keys: [oldDesk.id], notices: [ours] })], { withdrawals: givenList }), "accepted"],
  ["the same number, another manifest", remembered({}, { sequence: 3, revision: hex(1) }), "sequence-conflict"],
  ["a higher number", remembered({}, { sequence: 4, revision: hex(1) }), "sequence-old"],
  ["a higher number of a stolen key", afterTheft({}, { sequence: 4, revision: hex(1) }), "accepted"],
  ["a higher number of a stolen key and another", afterTheft({}, { sequence: 4, revision: hex(1), keys: [AUTHOR.id, REVIEWER.id].sort() }), "sequence-old"],
  ["a higher number of a stolen key that nobody reviewed", afterTheft({}, { sequence: 4, revision: hex(1), reviewed: true, keys: [AUTHOR.id, REVIEWER.id].sort() }), "accepted"],
  ["a higher number of a stolen key and unlisted ones", afterTheft({}, { sequence: 4, revision: hex(1), reviewed: true, keys: [AUTHOR.id, hex(1), hex(2)].sort() }), "sequence-old"],
  ["a higher number that the ledger proved", afterTheft({}, { sequence: 4, revision: hex(1), keys: [] }), "sequence-old"],
  ["a higher number of an older base", () => from("next base", { state: statePart({ trust: seen }, { sequence: 10, revision: hex(1) }) }), "sequence-old"],
  ["a newer way back", () => from("way back with a state", { state: statePart({ trust: seen }, { sequence: 9, revision: hex(1) }, [{ ...wayBackRow(situations.get("way back with a state").files.bundle), revision: hex(2), sequence: 4 }]) }), "sequence-old"],
  ["a return that is not listed", () => from("return with a state", { state: statePart({ trust: seen }, { sequence: 9, revision: hex(1), returns: [hex(3)] }) }), "sequence-old"],
  ["a return of which nothing is known", () => from("job list and an older one", {}, { declaredReturn: true }), "sequence-old"],
  ["a set that is left", remembered({}, { set: hex(7) }), "accepted"],
];

const trial = (change) => () => bent("trial with a state", "bundle", change);
const clockRows = [
  ["a trial that is over", trial((tree) => void (tree.expires = "2026-03-04T05:06:08Z")), "expired"],
  ["a trial that is sealed later", trial((tree) => Object.assign(tree, { claimed_time: FUTURE })), "clock-implausible"],
  ["a trial, and a later time was seen", () => bent("trial with a state", "state", (tree) => void (tree.last_time = FUTURE)), "clock-implausible"],
  ["a trial, and a later time was seen that was wrong", () => {
    const { name, files, flags } = bent("trial with a state", "state", (tree) => void (tree.last_time = FUTURE));
    return { name, files, flags: { ...flags, clockIsRight: true } };
  }, "accepted"],
  ["no trial, and a later time was seen", () => bent("newer than the state", "state", (tree) => void (tree.last_time = FUTURE)), "accepted"],
  ["no trial, sealed later", () => bent(TINY, "bundle", (tree) => void (tree.claimed_time = FUTURE)), "accepted"],
];

const two = situations.get("a set of two").files;
const setRows = [
  ["a partner without a set", () => from(TINY, { partners: [two.partners[0]] }), "set-mismatch"],
  ["a partner twice", () => from("a set of two", { partners: [two.partners[0], two.partners[0]] }), "set-mismatch"],
  ["itself as its partner", () => from("a set of two", { partners: [two.bundle] }), "set-mismatch"],
  ["a partner of another vehicle", () => from("a set of two", { partners: [bent("a set of two, the other way", "bundle", (tree) => void (tree.vehicle_reference = "red van")).files.bundle] }), "set-mismatch"],
  ["a partner of another salt", () => from("a set of two", { partners: [bent("a set of two, the other way", "bundle", (tree) => void (tree.salt_digest = hex(1))).files.bundle] }), "set-mismatch"],
  ["a partner that is withdrawn", () => from("a set, state and withdrawals", { withdrawals: bent("a set, state and withdrawals", "withdrawals", (tree) => void (tree.notices[0].revision = digestOf(two.partners[0]))).files.withdrawals }), "withdrawn"],
  ["a partner that is damaged", () => from("a set of two", { partners: [{ bytes: two.partners[0].bytes.subarray(0, 2000) }] }), "prefix-damaged"],
];

const fileRows = [
  ...["bundle", "trust"].map((role) => [`an empty ${role}`, () => from(SMALL, { [role]: { bytes: Buffer.alloc(0) } }), "file-empty"]),
  ["an empty read", () => from(TINY, { reads: [{ memory: "flash", bytes: Buffer.alloc(0) }] }), "file-empty"],
  ["an empty salt", () => from(SMALL, { salt: { bytes: Buffer.alloc(0) } }), "file-empty"],
  ["a salt with two line ends", () => from(SMALL, { salt: { bytes: Buffer.concat([situations.get(SMALL).files.salt.bytes, Buffer.from("\n")]) } }), "salt-wrong"],
  ["a salt with the line end of another system", () => from(SMALL, { salt: { bytes: Buffer.from(situations.get(SMALL).files.salt.bytes.toString().trim() + "\r\n") } }), "accepted"],
  ["a salt in capitals", () => from(SMALL, { salt: { bytes: Buffer.from("AB".repeat(32)) } }), "salt-wrong"],
  ["a fingerprint in one piece", () => from("vector root-stated", {}, { root: situations.get("vector root-stated").flags.root.replace(/ /g, "") }), "accepted"],
  ["a fingerprint with hyphens", () => from("vector root-stated", {}, { root: situations.get("vector root-stated").flags.root.replace(/ /g, "-") }), "accepted"],
  ["a fingerprint in pairs", () => from("vector root-stated", {}, { root: situations.get("vector root-stated").flags.root.replace(/(\d\d)(\d\d)/g, "$1 $2") }), "accepted"],
  ["a fingerprint with a foreign character", () => from("vector root-stated", {}, { root: `${situations.get("vector root-stated").flags.root}\u200b` }), "root-mismatch"],
  ["a fingerprint with two groups swapped", () => from("vector root-stated", {}, { root: situations.get("vector root-stated").flags.root.replace(/ (\d{4}) (\d{4})/, " $2 $1") }), "root-mismatch"],
  ["a key id with blanks around it", () => from(TINY, {}, { root: ` ${ROOT.id}\n` }), "accepted"],
  ["a key id in capitals", () => from(TINY, {}, { root: ROOT.id.toUpperCase() }), "root-mismatch"],
];

const groups = { manifest: manifestRows, contents: openRows, succession: successionRows, withdrawals: listRows, "job list": jobListRows, inclusion: proofRows, state: stateRows, clock: clockRows, set: setRows, files: fileRows };

for (const [group, rows] of Object.entries(groups)) {
  test(group, async (t) => {
    for (const [what, make, expected] of rows) {
      await t.test(what, async () => {
        const [checker, page] = await askBoth(make());
        assert.deepEqual(differences(checker, page), []);
        assert.equal(page.reason || page.verdict, expected);
      });
    }
  });
}
