// docs/order.md, "Rules"; docs/bundle-format.md, "Approval"; docs/region-map.md, "Two maps compared": each row and each check. A state
// comes from bundles that the page accepted before; bundles are written by small_shop.mjs, which shares no code with the page. Where
// calseal-check is named (CALSEAL_CHECK), as ctest does, it must give the same answer to every row.
import assert from "node:assert/strict";
import { test } from "node:test";

import "./platform.mjs";
import { checkBundle } from "../../src/page/check.js";
import { knownMap } from "../../src/page/known.js";
import { widening, wideningText } from "../../src/page/map_diff.js";
import { readRegionMap } from "../../src/page/region_map.js";
import { differences } from "./answers.mjs";
import { bundle, keyOf, listEntries, sha256Hex, state, statement } from "./forge.mjs";
import { AUTHOR, key, NEXT_ROOT, ROOT, situation, successionPart, trustPart } from "./scenarios.mjs";
import { FLASH, readsOf, SALT, walnut, walnutMap } from "./walnut.mjs";

const MAPPER = keyOf(8);
const OTHER_MAPPER = keyOf(9);
const THIEF = keyOf(5);
const TIME = "2026-03-04T05:06:07Z";
const at = (offset) => "0x" + (FLASH + offset).toString(16).padStart(8, "0");
const textOf = (map) => JSON.stringify(map);
const digestOf = (map) => sha256Hex(textOf(map));

function changed(change, version = 4) {
  const map = walnutMap();
  map.version = version;
  change(map);
  return map;
}
const region = (name, offset, size, policy) => ({ name, memory: "flash", start: at(offset), size, policy });
const FIRST = walnutMap();
const WIDER = changed((map) => map.regions.push(region("boot-table", 0xd0, 16, "editable")));
const WIDEST = changed((map) => map.regions.push(region("boot-table", 0xd0, 32, "editable")), 5);
const NARROWER = changed((map) => (map.regions[0].policy = "locked"));
const OTHER_NAME = changed((map) => (map.name = "hazel", map.regions[0].policy = "locked"), 3);
const NARROWER_TOO = changed((map) => Object.assign(map.regions[0], { policy: "locked", note: "still" }), 6);
const SAME_VERSION = changed((map) => (map.regions[0].policy = "locked"), 3);

// Another trust file than the first needs another version.
const signers = (author = {}, mapper = {}, more = [], version = 2) => trustPart({ version }, ROOT,
  [key(AUTHOR, "Author", ["author"], author), key(MAPPER, "Map desk", ["map-author"], mapper), ...more]);
const TRUST = signers({}, {}, [], 1);

function approve(from, to, change = {}, keys = [MAPPER]) {
  const value = { calseal: "approval/1", controller: "engine", from: digestOf(from), to: digestOf(to), claimed_time: TIME, text: "a new table", ...change };
  return statement(value, keys).toString();
}

// Revision `revision` under a map; its edits lie where every map here lets them.
function revisionOf(map, revision, { approvals = [], keys = [AUTHOR], change = {} } = {}) {
  const written = walnut({ map, revision, edits: [[0x62, 10 + revision], [0x7f, 2]], approvals });
  const manifest = { ...written.manifest, ...change, entries: listEntries(written.contents) };
  return { digest: sha256Hex(JSON.stringify(manifest)), bytes: new Uint8Array(bundle(manifest, written.contents, keys)), reads: readsOf(written.shape, written.base) };
}

function ask({ bytes, reads }, { trust = TRUST, stateText = null, more = {} } = {}) {
  return checkBundle({
    bundle: { name: "walnut.calseal", bytes }, trust: { name: "shop.trust", bytes: new Uint8Array(trust.bytes) }, reads,
    evidence: { readIsFresh: true, salt: new Uint8Array(SALT), vehicleReference: "" }, now: "2026-03-05T00:00:00Z",
    state: stateText === null ? null : { name: "state", bytes: new Uint8Array(Buffer.from(stateText)) }, ...more,
  });
}

const both = process.env.CALSEAL_CHECK ? await import("./both.mjs") : null;

async function askBothThe({ bytes, reads }, what, { trust = TRUST, stateText = null, more = {} }) {
  const roles = { bundle: { bytes }, trust: { bytes: trust.bytes }, reads: more.reads ?? reads, salt: { bytes: Buffer.from(SALT.toString("hex")) },
    state: stateText === null ? null : { bytes: Buffer.from(stateText) } };
  const [checker, page] = await both.askBoth(situation(what, roles, { sealOnly: more.sealOnly ?? false }));
  assert.deepEqual(differences(checker, page), []);
}

const told = ({ reason, outcome, cautions }) =>
  [reason?.code ?? outcome, ...cautions.map(({ code }) => code).filter((code) => code.startsWith("rules-") || code === "state-damaged")].join(" ");
const words = (verdict) => `${verdict.reason?.found ?? ""} ${verdict.cautions.map(({ text }) => text).join(" ")}`;

// What the state is after these, each of which must be accepted.
async function stateAfter(revisions, trust = TRUST) {
  let stateText = "";
  for (const revision of revisions) {
    const verdict = await ask(revision, { stateText, trust });
    assert.equal(verdict.outcome, "accepted", JSON.stringify(verdict.reason));
    stateText = verdict.stateAfterWrite;
  }
  return stateText;
}

async function holdRows(t, rows) {
  for (const [what, before, now, expected, said = "", options = {}] of rows) {
    await t.test(what, async () => {
      const verdict = await ask(now, { stateText: before, ...options });
      assert.equal(told(verdict), expected, JSON.stringify(verdict.reason));
      assert.ok(words(verdict).includes(said), words(verdict));
      if (both !== null) await askBothThe(now, what, { stateText: before, ...options });
      if (expected.startsWith("rules-")) {
        assert.equal(verdict.steps.find(({ state: how }) => how === "failed").name, "rules");
        assert.deepEqual(verdict.files, []);
        if (options.trust === undefined) assert.equal(told(await ask(now, { stateText: "" })), "accepted", "without a memory");
      }
    });
  }
}

// A state as it is, with another first line.
function bentState(text, bend) {
  const tree = JSON.parse(text.split("\n")[0]);
  return state(bend(tree) ?? tree).toString();
}

test("the rows of the step", async (t) => {
  const base = revisionOf(FIRST, 0);
  const known = await stateAfter([base]);
  const later = await stateAfter([base, revisionOf(NARROWER, 1)]);
  const lost = bentState(known, (tree) => void (tree.maps = []));
  await holdRows(t, [
    ["nothing is known", "", revisionOf(WIDER, 1), "accepted"],
    ["no state", null, revisionOf(WIDER, 1), "accepted"],
    ["1: the way back, although its map widens the newest", later, base, "accepted"],
    ["1: another revision 0 is asked like any other", later, revisionOf(FIRST, 0, { change: { title: "Other", sequence: 9 } }), "rules-widened", "32 more bytes to change, fuel among them"],
    ["2: the same map", known, revisionOf(FIRST, 1), "accepted"],
    ["2: the same map, whose text was not kept", lost, revisionOf(FIRST, 1), "accepted"],
    ["3: another map of this name and version", known, revisionOf(SAME_VERSION, 1), "rules-changed", "allow nothing more"],
    ["3: even with an approval", known, revisionOf(SAME_VERSION, 1, { approvals: [approve(FIRST, SAME_VERSION)] }), "rules-changed"],
    ["3: not where the map was not kept", lost, revisionOf(SAME_VERSION, 1, { approvals: [approve(FIRST, SAME_VERSION)] }), "accepted rules-widened"],
    ["3: another name with this version", known, revisionOf(OTHER_NAME, 1), "accepted"],
    ["4: approved", known, revisionOf(WIDER, 1, { approvals: [approve(FIRST, WIDER)] }), "accepted rules-widened",
      'the shop\'s rules now allow 16 more bytes to change, boot-table among them; approved by Map desk at 2026-03-04T05:06:07Z (claimed): a new table'],
    ["4: approved, and not wider", known, revisionOf(NARROWER, 1, { approvals: [approve(FIRST, NARROWER)] }), "accepted"],
    ["4: approved, and the known map was not kept", lost, revisionOf(NARROWER, 1, { approvals: [approve(FIRST, NARROWER)] }), "accepted rules-widened", "has not kept the known ones"],
    ["5: wider", known, revisionOf(WIDER, 1), "rules-widened", "the shop's rules now allow 16 more bytes to change, boot-table among them"],
    ["5: not kept", lost, revisionOf(NARROWER, 1), "rules-widened", "has not kept the known ones"],
    ["6: another map, not wider", known, revisionOf(NARROWER, 1), "accepted"],
    ["the next base is compared all the same", known, revisionOf(WIDER, 0, { change: { base: { number: 2, reason: "update" }, sequence: 5, parent: "ab".repeat(32) } }), "rules-widened"],
    ["a look at the seal", known, revisionOf(WIDER, 1), "rules-widened", "", { more: { sealOnly: true, reads: [] } }],
  ]);
});

test("approvals that count, and those that do not", async (t) => {
  const known = await stateAfter([revisionOf(FIRST, 0)]);
  const asked = (...approvals) => revisionOf(WIDER, 1, { approvals });
  const good = approve(FIRST, WIDER);
  const bent = good.replace(/[0-9a-f]\n$/, (end) => (end[0] === "0" ? "1\n" : "0\n"));
  const approved = (what, approvals, trust = TRUST) => [what, known, revisionOf(WIDER, 1, { approvals }), "accepted rules-widened", "approved by", { trust }];
  const not = (what, approval, why, trust = TRUST) => [what, known, asked(approval), "rules-widened", `approval 1 does not count: ${why}`, { trust }];
  const other = (change) => signers({}, change);
  await holdRows(t, [
    approved("by a map author", [good]),
    approved("by the root", [approve(FIRST, WIDER, {}, [ROOT])]),
    approved("by both", [approve(FIRST, WIDER, {}, [ROOT, MAPPER])]),
    approved("a mapper who is an author too", [good], trustPart({ version: 2 }, ROOT, [key(AUTHOR, "Author", ["author"]), key(MAPPER, "Map desk", ["author", "map-author"])])),
    approved("a mapper for other region maps", [good], other({ region_maps: ["12".repeat(32)] })),
    approved("a mapper for this controller", [good], other({ controllers: ["engine"] })),
    approved("in two steps", [approve(WIDEST, WIDER), approve(FIRST, WIDEST)]),
    approved("beside one that does not count", [bent, good]),
    approved("round in a circle", [approve(FIRST, WIDEST), approve(WIDEST, FIRST), approve(WIDEST, WIDER)]),
    ["the shortest way is told", known, asked(approve(FIRST, WIDEST, { text: "long" }), approve(WIDEST, WIDER, { text: "longer" }), good), "accepted rules-widened", 'boot-table among them; approved by Map desk at 2026-03-04T05:06:07Z (claimed): a new table'],
    ["the other way", known, asked(approve(WIDER, FIRST)), "rules-widened"],
    ["half of the way", known, asked(approve(FIRST, WIDEST)), "rules-widened"],
    ["the other half", known, asked(approve(WIDEST, WIDER)), "rules-widened"],
    not("too large", approve(FIRST, WIDER, { text: "x".repeat(17000) }), "file-too-large"),
    not("another kind", approve(FIRST, WIDER, { calseal: "approval/2" }), "type-wrong"),
    not("no signature", `${good.split("\n")[0]}\n`, "approval-invalid"),
    not("a line too many", `${good}x\n`, "approval-invalid"),
    not("1: an unknown signer", approve(FIRST, WIDER, {}, [keyOf(4)]), "signer-unknown"),
    not("1: one of two unknown", approve(FIRST, WIDER, {}, [MAPPER, keyOf(4)]), "signer-unknown"),
    not("2: a bad signature", bent, "signature-bad"),
    not("3: not canonical", statement(` ${good.split("\n")[0]}`.slice(1).replace('","from"', '", "from"'), [MAPPER]).toString(), "approval-invalid"),
    not("3: a field too many", approve(FIRST, WIDER, { more: 1 }), "approval-invalid"),
    not("3: a text of two lines", approve(FIRST, WIDER, { text: "a\nb" }), "approval-invalid"),
    not("3: from and to the same", approve(WIDER, WIDER), "approval-invalid"),
    not("4: a compromised signer", good, "key-compromised", other({ state: "compromised" })),
    not("4: one of two compromised", approve(FIRST, WIDER, {}, [MAPPER, OTHER_MAPPER]), "key-compromised", signers({}, {}, [key(OTHER_MAPPER, "Old desk", ["map-author"], { state: "compromised" })])),
    not("5: another role", good, "roles-missing", other({ roles: ["author", "reviewer", "withdrawal"] })),
    not("5: an author", approve(FIRST, WIDER, {}, [AUTHOR]), "roles-missing"),
    not("6: restricted to jobs", good, "key-scope", other({ jobs: ["job-7"] })),
    not("6: restricted to another controller", good, "key-scope", other({ controllers: ["gearbox"] })),
    not("7: too early", good, "key-validity", other({ valid_from: "2026-03-04T05:06:08Z" })),
    not("7: too late", good, "key-validity", other({ valid_until: TIME })),
    not("another controller", approve(FIRST, WIDER, { controller: "gearbox" }), "it is for controller gearbox"),
  ]);
});

test("step 8b: the region maps of a key", async (t) => {
  const only = (...maps) => ({ trust: signers({ region_maps: maps.map(digestOf).sort() }) });
  const approvals = [approve(FIRST, WIDER)];
  await holdRows(t, [
    ["listed", null, revisionOf(WIDER, 1), "accepted", "", only(WIDER)],
    ["another one", null, revisionOf(WIDER, 1), "key-scope", "", only(FIRST)],
    ["led to", null, revisionOf(WIDER, 1, { approvals }), "accepted", "", only(FIRST)],
    ["led to from the second of two", null, revisionOf(WIDER, 1, { approvals }), "accepted", "", { trust: signers({ region_maps: ["00".repeat(32), digestOf(FIRST)] }) }],
    ["led to from elsewhere", null, revisionOf(WIDER, 1, { approvals }), "key-scope", "", only(NARROWER)],
    ["an approval that does not count", null, revisionOf(WIDER, 1, { approvals: [approve(FIRST, WIDER, {}, [AUTHOR])] }), "key-scope", "approval 1 does not count: roles-missing", only(FIRST)],
  ]);
});

test("the field of the manifest", async (t) => {
  const good = approve(FIRST, WIDER);
  await holdRows(t, [
    ["sixteen", null, revisionOf(WIDER, 1, { approvals: new Array(16).fill(good) }), "accepted"],
    ["seventeen", null, revisionOf(WIDER, 1, { approvals: new Array(17).fill(good) }), "json-value"],
    ["no text", null, revisionOf(WIDER, 1, { approvals: [{}] }), "json-type"],
    ["gone", null, revisionOf(WIDER, 1, { change: { approvals: undefined } }), "json-missing-key"],
  ]);
});

test("what is remembered", async (t) => {
  const mapsOf = (text) => JSON.parse(text.split("\n")[0]).maps.map((map) => sha256Hex(map));
  const base = revisionOf(FIRST, 0);
  await t.test("the map of the way back and of the newest, each once, ascending", async () => {
    const text = await stateAfter([base, revisionOf(NARROWER, 1), revisionOf(NARROWER, 2)]);
    assert.deepEqual(mapsOf(text), [FIRST, NARROWER].map(digestOf).sort());
  });
  await t.test("a map that nothing has any more is dropped", async () => {
    assert.deepEqual(mapsOf(await stateAfter([revisionOf(NARROWER, 1), revisionOf(NARROWER_TOO, 2)])), [digestOf(NARROWER_TOO)]);
  });
  await t.test("of a return, which is not noted, the map is not kept", async () => {
    const earlier = revisionOf(NARROWER_TOO, 1);
    const before = await stateAfter([earlier, revisionOf(NARROWER, 2, { change: { permitted_returns: [earlier.digest] } })]);
    const back = await ask(earlier, { stateText: before, more: { declaredReturn: true } });
    assert.equal(back.passage, "return", JSON.stringify(back.reason));
    assert.deepEqual(mapsOf(back.stateAfterWrite), [digestOf(NARROWER)]);
  });
  await t.test("a branch that is taken out takes its maps along", async () => {
    const last = trustPart({ version: 4, next_root: NEXT_ROOT.id });
    const before = bentState(await stateAfter([revisionOf(FIRST, 1)]), (tree) => {
      const [root] = tree.roots;
      const jobs = structuredClone(root.jobs);
      jobs[0].revisions[0].map = digestOf(WIDER);
      tree.roots = [{ ...root, next: THIEF.id }, { ...root, root: THIEF.id, jobs }].sort((a, b) => (a.root < b.root ? -1 : 1));
      tree.maps = [FIRST, WIDER].map(textOf).sort((a, b) => (sha256Hex(a) < sha256Hex(b) ? -1 : 1));
    });
    const verdict = await ask(revisionOf(FIRST, 2), { stateText: before, trust: trustPart({}, NEXT_ROOT),
      more: { successions: [{ name: "succession", bytes: new Uint8Array(successionPart(last).bytes) }], statedRoot: NEXT_ROOT.id } });
    assert.equal(verdict.outcome, "accepted", JSON.stringify(verdict.reason));
    assert.deepEqual(mapsOf(verdict.stateAfterLook), [digestOf(FIRST)]);
  });
  await t.test("a refused one leaves nothing", async () => {
    const before = await stateAfter([base]);
    assert.deepEqual(mapsOf((await ask(revisionOf(WIDER, 1), { stateText: before })).stateAfterLook), [digestOf(FIRST)]);
  });
  await t.test("letters of every kind come back as they were", async () => {
    const strange = changed((map) => (map.note = 'ä "\u2028\u007f\n\\ 😀'));
    const text = await stateAfter([revisionOf(strange, 1)]);
    assert.deepEqual(mapsOf(text), [digestOf(strange)]);
    assert.equal(told(await ask(revisionOf(strange, 1), { stateText: text })), "accepted");
  });
  const known = await stateAfter([base]);
  // Revisions of other jobs fill the state: each with a map of its own.
  const fill = (count, size) => bentState(known, (tree) => {
    const texts = Array.from({ length: count }, (_, i) => `${"x".repeat(size - 4)}${String(i).padStart(4, "0")}`);
    const [job] = tree.roots[0].jobs;
    tree.maps = [...tree.maps, ...texts].sort((a, b) => (sha256Hex(a) < sha256Hex(b) ? -1 : 1));
    const jobs = texts.map((text, i) => ({ ...job, job: `a${String(i).padStart(4, "0")}`, revisions: job.revisions.map((one) => ({ ...one, map: sha256Hex(text) })), ways_back: [] }));
    tree.roots[0].jobs = [...jobs, job];
  });
  const room = 2 ** 21 - textOf(FIRST).length;
  const next = revisionOf(NARROWER, 1);
  const half = (size) => fill(2, size / 2);
  const exact = Math.floor((room - textOf(NARROWER).length) / 2) * 2;
  await holdRows(t, [
    ["room for one more text", fill(62, 8), next, "accepted"],
    ["no room for one more text", fill(63, 8), next, "accepted rules-not-kept"],
    ["room for its bytes", half(exact), next, "accepted"],
    ["no room for its bytes", half(exact + 2), next, "accepted rules-not-kept"],
    ["64 texts", fill(63, 8), revisionOf(FIRST, 1), "accepted"],
    ["65 texts", fill(64, 8), revisionOf(FIRST, 1), "accepted state-damaged"],
    ["too many bytes", half(Math.floor(room / 2) * 2 + 2), revisionOf(FIRST, 1), "accepted state-damaged"],
    ["a text larger than a region map", fill(1, 2 ** 20 + 1), revisionOf(FIRST, 1), "accepted state-damaged"],
  ]);
  const full = await ask(next, { stateText: fill(63, 8) });
  await holdRows(t, [["still no room", full.stateAfterWrite, revisionOf(NARROWER, 2), "accepted rules-not-kept"]]);
  await t.test("what had no room is kept when there is room again", async () => {
    const again = await ask(next, { stateText: bentState(full.stateAfterWrite, (tree) => {
      tree.maps = tree.maps.filter((text) => !text.startsWith("xxxx"));
    }) });
    assert.equal(told(again), "accepted");
    assert.ok(mapsOf(again.stateAfterWrite).includes(digestOf(NARROWER)));
  });
  const both = await stateAfter([base, next]);
  const damaged = (what, bend) => [what, bentState(both, bend), revisionOf(NARROWER, 2), "accepted state-damaged"];
  await holdRows(t, [
    ["a state as it is", both, revisionOf(NARROWER, 2), "accepted"],
    damaged("texts in another order", (tree) => void tree.maps.reverse()),
    damaged("a text twice", (tree) => void tree.maps.push(tree.maps[1])),
    damaged("a text that no revision has", (tree) => void (tree.maps = [...tree.maps, textOf(WIDER)].sort((a, b) => (sha256Hex(a) < sha256Hex(b) ? -1 : 1)))),
    damaged("no list of texts", (tree) => void delete tree.maps),
    damaged("a revision without a map", (tree) => void delete tree.roots[0].jobs[0].revisions[0].map),
    damaged("a way back without a map", (tree) => void delete tree.roots[0].jobs[0].ways_back[0].map),
    damaged("a map that is no digest", (tree) => void (tree.roots[0].jobs[0].revisions[0].map = "")),
  ]);
  await t.test("a text that is no region map counts as not kept", async () => {
    const forged = bentState(known, (tree) => {
      tree.maps = ["{}"];
      const [job] = tree.roots[0].jobs;
      for (const one of [...job.revisions, ...job.ways_back]) one.map = sha256Hex("{}");
    });
    assert.equal(told(await ask(next, { stateText: forged })), "rules-widened");
  });
});

test("the known map", async (t) => {
  const trust = { keys: [{ id: "a", roles: ["author"], state: "active" }, { id: "t", roles: ["author"], state: "compromised" }], policy: { threshold: 1 } };
  const row = (sequence, map, keys = ["a"], revision = `r${sequence}`) => ({ base: 1, sequence, revision, map, reviewed: false, keys });
  const jobs = (revisions, waysBack = []) => [{ revisions, ways_back: waysBack }];
  const rows = [
    ["none", [], ""],
    ["the newest accepted", jobs([row(2, "m2"), row(3, "m3")]), "m3"],
    ["the newest that counts", jobs([row(2, "m2"), row(3, "m3", ["t"])]), "m2"],
    ["of two, the higher digest", jobs([row(2, "m2"), row(2, "m9", ["a"], "r3")]), "m9"],
    ["before any way back", jobs([row(2, "m2")], [row(5, "m5")]), "m2"],
    ["else the highest way back that counts", jobs([row(3, "m3", ["t"])], [row(1, "m1"), row(2, "m2"), row(4, "m4", ["t"])]), "m2"],
    ["under every root", [...jobs([row(2, "m2")]), ...jobs([row(4, "m4")])], "m4"],
    ["nothing that counts", jobs([row(3, "m3", ["t"])], [row(1, "m1", ["t"])]), ""],
  ];
  for (const [what, known, expected] of rows) await t.test(what, () => assert.equal(knownMap(known, trust), expected));
  await t.test("a stolen key's map falls with it", async () => {
    const thief = (how) => signers({}, {}, [key(THIEF, "Second author", ["author"], { state: how })]);
    const approvals = [approve(FIRST, NARROWER)];
    const text = await stateAfter([revisionOf(FIRST, 0), revisionOf(NARROWER, 1, { keys: [THIEF], approvals })], thief("active"));
    const now = { ...JSON.parse(thief("compromised").text.toString()), version: 3 };
    const trustNow = { bytes: statement(now, [ROOT]) };
    assert.equal(told(await ask(revisionOf(FIRST, 2), { stateText: text, trust: thief("active") })), "rules-widened");
    assert.equal(told(await ask(revisionOf(FIRST, 2), { stateText: text, trust: trustNow })), "accepted");
  });
});

const read = (map) => readRegionMap(new TextEncoder().encode(textOf(map)), "a map");

function rewritten(change) {
  const map = walnutMap();
  return change(map) ?? map;
}

const SEGMENTS = { segments: [{ start: "0x00000000", size: 60 }] };
const NV_SECTOR = { memory: "nv", start: "0x00000000", size: 64, count: 1 };
const ofFuel = (change) => (map) => void change(map.checksums[0]);
const halves = (low, high) => ofFuel((fuel) => (fuel.slots = [[0x90, low], [0x91, high]].map(([offset, from]) => ({ memory: "flash", at: at(offset), size: 1, from, bits: 8 }))));
const twice = (bits) => ofFuel((fuel) => fuel.slots.push({ memory: "flash", at: at(0xd0), size: 1, bits }));
const fletcher = (order) => ofFuel((fuel) => Object.assign(fuel, { algorithm: { fletcher: 32, order }, slots: [{ memory: "flash", at: at(0xd0), size: 4 }] }));
const literal = (bytes) => ofFuel((fuel) => fuel.coverage.push({ literal: bytes }));
const TABLE = { memory: "flash", at: at(0xe0), records: 2, record_size: 8, order: "little", start_at: 0, end_at: 4, end: "after", points_into: "flash" };
const table = (more) => ofFuel((fuel) => fuel.coverage.push({ table: { ...TABLE, ...more } }));
const repeatedTable = (record) => (map) => void map.checksums.push({ name: "row", repeat: 2, algorithm: { sum: { unit: 8, accumulator: 8 } },
  coverage: [{ table: { ...TABLE, record } }], slots: [{ memory: "flash", at: at(0xd0), size: 1, stride: 1 }] });

test("two maps compared", async (t) => {
  // Changed from the first to the second; what the comparison says, or null where nothing widens.
  const rows = [
    ["the same", () => {}, null],
    ["a title, a note, a version, another grade's evidence", (map) => Object.assign(map, { title: "T", note: "n", version: 9, evidence: { ...map.evidence, author: "others", guesses: ["one"] } }), null],
    ["1: locked to editable", (map) => void map.regions.push(region("new", 0xd0, 16, "editable")), "16 more bytes to change, new among them"],
    ["1: locked to volatile", (map) => void map.regions.push(region("new", 0xd0, 1, "volatile")), "1 more byte to change, new among them"],
    ["1: locked to derived", (map) => void map.copies.push({ name: "new", memory: "flash", start: at(0xd0), size: 4, of: { memory: "flash", start: at(0x44) } }), "4 more bytes to change, flash among them"],
    ["1: volatile to editable", (map) => void (map.regions[2].policy = "editable"), "16 more bytes to change, learned among them"],
    ["1: derived to editable", (map) => {
      map.regions.push(region("slots", 0x90, 4, "editable"));
      map.checksums = map.checksums.filter(({ name }) => name !== "fuel");
    }, "2 more bytes to change, slots among them; checksum fuel is gone"],
    ["1: derived to volatile", (map) => {
      map.regions.push(region("slots", 0x90, 4, "volatile"));
      map.checksums = map.checksums.filter(({ name }) => name !== "fuel");
    }, "2 more bytes to change, slots among them; checksum fuel is gone"],
    ["1: a slot over what is editable before", (map) => void map.checksums.push({ name: "new", algorithm: { crc: "CRC-16/IBM-3740" }, coverage: [{ memory: "flash", start: at(0), size: 4 }],
      slots: [{ memory: "flash", at: at(0x7e), size: 2 }] }), null],
    ["1: editable to volatile", (map) => void (map.regions[0].policy = "volatile"), null],
    ["1: slots in any order", (map) => void map.checksums.push({ name: "new", algorithm: { crc: "CRC-32/ISO-HDLC" }, coverage: [{ memory: "flash", start: at(0), size: 4 }],
      slots: [{ memory: "flash", at: at(0xd8), size: 2, bits: 16 }, { memory: "flash", at: at(0xd0), size: 2, from: 16 }] }), "4 more bytes to change, flash among them"],
    ["1: to locked", (map) => void map.regions.splice(0, 3), null],
    ["1: a region in two halves, under other names", (map) => void map.regions.splice(0, 1, region("low", 0x40, 16, "editable"), region("high", 0x50, 16, "editable")), null],
    ["1: a repetition one by one", (map) => void map.regions.splice(1, 1, region("one", 0x60, 16, "editable"), region("two", 0x70, 16, "editable")), null],
    ["1: a region moved on by one byte", (map) => void (map.regions[2].start = at(0xc1)), "1 more byte to change, learned among them"],
    ["2: a memory that is gone", (map) => Object.assign(map, { memories: map.memories.slice(0, 1), regions: map.regions.slice(0, 3), identity: map.identity.slice(0, 4),
      checksums: map.checksums.filter(({ name }) => !["own", "outer", "plate"].includes(name)) }), "memory nv is gone"],
    ["2: a memory that is new", (map) => void map.memories.push({ name: "more", origin: "0x00000000", size: 4 }), "memory more is new"],
    ["2: a new memory to edit", (map) => {
      map.memories.push({ name: "more", origin: "0x00000000", size: 4 });
      map.regions.push({ name: "extra", memory: "more", start: "0x00000000", size: 4, policy: "editable" });
    }, "4 more bytes to change, extra among them; memory more is new"],
    ["2: larger, with the same segments", (map) => void Object.assign(map.memories[1], SEGMENTS, { size: 65 }), "memory nv is different", (map) => void Object.assign(map.memories[1], SEGMENTS)],
    ["2: memories in another order", (map) => void map.memories.reverse(), null],
    ["2: a larger memory", (map) => void (map.memories[0].size = 257), "memory flash is different"],
    ["2: another origin", (map) => void map.memories.push(map.memories.pop() && { name: "nv", origin: "0x00000000", size: 65 }), "memory nv is different"],
    ["2: another fill", (map) => void (map.memories[1].fill = "00"), "memory nv is different"],
    ["2: the fill that it has", (map) => void (map.memories[1].fill = "ff"), null],
    ["2: a hole that is fill", (map) => void (map.memories[1].hole_is_fill = true), "memory nv is different"],
    ["2: segments", (map) => void (map.memories[1].segments = [{ start: "0x00000000", size: 60 }]), "memory nv is different"],
    ["2: the one segment that it is", (map) => void (map.memories[1].segments = [{ start: "0x00000000", size: 64 }]), null],
    ["3: a patch more", (map) => void map.permitted_patches.push({ name: "new", memory: "flash", at: at(0x1c), before: "00", after: "01" }), "permitted patch new is new"],
    ["3: a patch that is gone", (map) => void map.permitted_patches.pop(), null],
    ["3: another byte", (map) => void (map.permitted_patches[1].after = "03"), "permitted patch beep is different"],
    ["3: another place", (map) => void (map.permitted_patches[2].at = at(0x12)), "permitted patch update is different"],
    ["3: a note", (map) => void (map.permitted_patches[1].note = "n"), null],
    ["4: a checksum more", (map) => void map.checksums.push({ name: "new", algorithm: { sum: { unit: 8, accumulator: 8 } }, coverage: [{ memory: "flash", start: at(0x20), size: 4 }], rule: { equals: 134 } }), null],
    ["4: a rule that is gone", (map) => void map.checksums.pop(), "checksum fixed is gone"],
    ["4: another name for it", (map) => void (map.checksums[7].name = "solid"), "checksum fixed is gone"],
    ["4: another value", (map) => void (map.checksums[7].rule.equals = 135), "checksum fixed is different"],
    ["4: a shorter coverage", (map) => void (map.checksums[1].coverage[0].size = 32), "checksum program is different"],
    ["4: other parameters", (map) => void (map.checksums[1].algorithm.crc = "CRC-16/XMODEM"), "checksum program is different"],
    ["4: its parameters for its name", (map) => void (map.checksums[1].algorithm.crc = { width: 16, poly: "0x1021", init: 65535, refin: false, refout: false, xorout: 0 }), null],
    ["4: another name of it", (map) => void (map.checksums[1].algorithm.crc = "CRC-16/CCITT-FALSE"), null],
    ["4: defaults written out", (map) => Object.assign(map.checksums[0], { complement: "none", add: 0, bits: 16, note: "n",
      algorithm: { sum: { unit: 8, order: "little", operation: "add", accumulator: 16, init: 0 } }, substitute: [],
      slots: [{ memory: "flash", at: at(0x90), size: 2, order: "little", encoding: "binary", transform: "plain", from: 0, bits: 16 }] }) && undefined, null],
    ["4: another end of a CRC", (map) => void (map.checksums[1].algorithm.crc = { width: 16, poly: "0x1021", init: 65535, refin: false, refout: false, xorout: 1 }), "checksum program is different"],
    ["4: a rule for fewer bits", (map) => void Object.assign(map.checksums[7], { bits: 4, rule: { equals: 6 } }), "checksum fixed is different", (map) => void (map.checksums[7].rule.equals = 6)],
    ["4: a balance in the other order", (map) => void (map.checksums[6].rule.balance.order = "big"), "checksum even is different"],
    ["4: a slot in digits", (map) => void Object.assign(map.checksums[0], { bits: 8 }).slots.forEach((one) => (one.encoding = "hex-lower")), "checksum fuel is different", (map) => void (map.checksums[0].bits = 8)],
    ["4: halves changed about", halves(8, 0), "checksum fuel is different", halves(0, 8)],
    ["4: a slot of fewer bits", twice(4), "checksum fuel is different", twice(8)],
    ["4: another order of its words", fletcher("big"), "checksum fuel is different", fletcher("little")],
    ["4: another literal", literal("02"), "checksum fuel is different", literal("01")],
    ["4: the same literal", literal("01"), null, literal("01")],
    ["4: another record", table({ start_at: 0, end_at: 4 }), "checksum fuel is different", table({ start_at: 4, end_at: 0 })],
    ["4: the last record left out", table({ records: 1 }), "checksum fuel is different", table({ records: 2 })],
    ["4: an end that is the last address", table({ end: "last" }), "checksum fuel is different", table({})],
    ["4: blank records", table({ skip_blank: true }), "checksum fuel is different", table({})],
    ["4: the same table", table({ skip_blank: false, record: "all" }), null, table({})],
    ["4: a record of its own", repeatedTable("own"), "checksum row[0] is different", repeatedTable("all")],
    ["4: a copy with another offset", (map) => void Object.assign(map.copies[1], { transform: "offset", offset: 2 }), "copy live-copy is different", (map) => void Object.assign(map.copies[1], { transform: "offset", offset: 1 })],
    ["4: a copy for another bank", (map) => void (map.copies[0].active_bank.equals = "5b"), "copy mirror is different"],
    ["4: another start of the sum", (map) => void (map.checksums[0].algorithm.sum.init = 1), "checksum fuel is different"],
    ["4: a substitute", (map) => void (map.checksums[0].substitute = [{ memory: "flash", start: at(0x40), size: 1, as: "00" }]), "checksum fuel is different"],
    ["4: something added", (map) => void (map.checksums[0].add = 1), "checksum fuel is different"],
    ["4: complemented", (map) => void (map.checksums[0].complement = "ones"), "checksum fuel is different"],
    ["4: swapped", (map) => void (map.checksums[0].swap = 16), "checksum fuel is different"],
    ["4: fewer bits", (map) => void (map.checksums[0].bits = 8), "checksum fuel is different"],
    ["4: a slot in the other order", (map) => void (map.checksums[0].slots[0].order = "big"), "checksum fuel is different"],
    ["4: a slot that holds it complemented", (map) => void (map.checksums[0].slots[0].transform = "complement"), "checksum fuel is different"],
    ["4: another place for the balance", (map) => {
      map.checksums[6].rule.balance.at = at(0x9b);
      map.checksums[6].coverage[1].start = at(0x9b);
    }, "1 more byte to change, flash among them; checksum even is different"],
    ["4: a copy that is gone", (map) => void map.copies.pop(), "copy live-copy is gone"],
    ["4: a copy of other bytes", (map) => void (map.copies[0].of.start = at(0x48)), "copy mirror is different"],
    ["4: a copy without its bank", (map) => void delete map.copies[0].active_bank, "copy mirror is different"],
    ["4: a copy that is complemented no more", (map) => void delete map.copies[1].transform, "copy live-copy is different"],
    ["4: a signed part that is gone", (map) => void (map.manufacturer_signed = []), "signed part boot is gone"],
    ["4: a smaller signed part", (map) => void (map.manufacturer_signed[0].places[0].size = 4), "signed part boot is different"],
    ["4: a signed part more", (map) => void map.manufacturer_signed.push({ name: "more", places: [{ memory: "flash", start: at(4), size: 2 }] }), null],
    ["5: a binding field that is gone", (map) => void map.identity.pop(), "identity field vin is gone"],
    ["5: a field that is gone", (map) => void map.identity.splice(3, 1), null],
    ["5: a field more", (map) => void map.identity.push({ name: "more", kind: "other", memory: "flash", at: at(4), size: 2, encoding: "hex" }), null],
    ["5: a field elsewhere", (map) => void (map.identity[3].at = at(0x1a)), "identity field board is different"],
    ["5: another encoding", (map) => void (map.identity[3].encoding = "hex"), "identity field board is different"],
    ["5: another kind", (map) => void (map.identity[3].kind = "other"), "identity field board is different"],
    ["5: a pattern", (map) => void (map.identity[3].pattern = "####"), "identity field board is different"],
    ["5: a field that binds now", (map) => void (map.identity[3].binds = true), "identity field board is different"],
    ["6: nothing to recognise by", (map) => void delete map.recognise, "recognition rule is gone"],
    ["6: another mask", (map) => void delete map.recognise.all[0].mask, "recognition rule is different"],
    ["6: a software number more", (map) => void map.recognise.software_numbers.push("W102"), "recognition rule is different"],
    ["7: no sectors", (map) => void delete map.erase_sectors, "erase sectors are gone"],
    ["7: the same ones, with the memories in another order", (map) => void (map.erase_sectors.push(NV_SECTOR), map.memories.reverse()), null, (map) => void map.erase_sectors.push(NV_SECTOR)],
    ["7: other sectors", (map) => void (map.erase_sectors[0].count = 3), "erase sectors are different"],
    ["7: the same ones, one by one", (map) => void (map.erase_sectors = [0xc0, 0x80, 0x40, 0].map((offset) => ({ memory: "flash", start: at(offset), size: 64, count: 1 }))), null],
    ["forms and items", (map) => Object.assign(map, { forms: [{ name: "boxed", blocks: [{ memory: "flash", start: at(0), size: 256 }] }],
      items: [{ name: "idle", kind: "scalar", memory: "flash", start: at(0x40), type: "u8" }] }) && undefined, null],
  ];
  for (const [what, change, expected, first = () => {}] of rows) {
    await t.test(what, () => {
      const found = widening(read(rewritten(first)), read(rewritten(change)));
      if (expected === null) assert.equal(found === null ? null : wideningText(found), null);
      else assert.ok(found !== null && wideningText(found).includes(expected), found === null ? "nothing widens" : wideningText(found));
    });
  }
  await t.test("what the first does not declare does not widen", () => {
    const bare = rewritten((map) => {
      delete map.recognise;
      delete map.erase_sectors;
    });
    assert.equal(widening(read(bare), read(walnutMap())), null);
  });
  await t.test("a checksum that repeats is taken one by one", () => {
    const repeated = (more) => rewritten((map) => void map.checksums.push({ name: "row", repeat: 2, algorithm: { sum: { unit: 8, accumulator: 8 } },
      coverage: [{ memory: "flash", start: at(0x20), size: 1, stride: 1 }], slots: [{ memory: "flash", at: at(0xd0), size: 1, stride: 1 }], ...more }));
    assert.equal(widening(read(repeated({})), read(repeated({}))), null);
    const one = widening(read(repeated({})), read(repeated({ repeat: 1, coverage: [{ memory: "flash", start: at(0x20), size: 1 }], slots: [{ memory: "flash", at: at(0xd0), size: 1 }] })));
    assert.equal(wideningText(one), "the shop's rules are looser now: checksum row[1] is gone");
  });
  await t.test("many are counted", () => {
    const many = rewritten((map) => {
      for (let i = 0; i < 8; ++i) map.regions.push(region(`part-${i}`, 0xd0 + 2 * i, 1, "editable"));
    });
    assert.equal(wideningText(widening(read(walnutMap()), read(many))),
      "the shop's rules now allow 8 more bytes to change, part-0, part-1, part-2 and 5 more among them");
  });
});
