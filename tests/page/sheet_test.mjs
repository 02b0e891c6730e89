// docs/sheet.md, check by check, on sheets that a forger signs; and the hints of docs/parcel.md, "Looking at the reads".
import assert from "node:assert/strict";
import { test } from "node:test";

import "./platform.mjs";
import { utf8 } from "../../src/page/bytes.js";
import { lookAtReads } from "../../src/page/look.js";
import { readSheet } from "../../src/page/sheet.js";
import { readTrustFile } from "../../src/page/trust.js";
import { keyOf, sha256Hex, statement } from "./forge.mjs";

const ROOT = keyOf(31);
const SHEET_KEY = keyOf(32);
const STRANGER = keyOf(33);
const TIME = "2030-05-01T10:00:00Z";
const PARCEL_KEY = `09${"0".repeat(62)}`;
const needs = (more) => ({ options: [], fuel: [], hardware: [], ...more });

function trustText(change = () => {}) {
  const key = {
    id: SHEET_KEY.id, public_key: SHEET_KEY.publicKey, name: "Sheet", roles: ["sheet"], jobs: [], controllers: [], region_maps: [],
    valid_from: "2030-01-01T00:00:00Z", valid_until: "2031-01-01T00:00:00Z", state: "active",
  };
  change(key);
  return { calseal: "trust/1", version: 1, shop: "Walnut", root: ROOT.publicKey, claimed_time: TIME, next_root: "", ledger_heads: [],
    policy: { threshold: 1 }, keys: [key] };
}

const trustWith = (change) => readTrustFile(new Uint8Array(statement(trustText(change), [ROOT])), "", "shop.trust");

function soundSheet() {
  return {
    calseal: "sheet/1", root: ROOT.id, number: 2, claimed_time: TIME, parcel_key: PARCEL_KEY,
    options: [
      { name: "sport", title: "Sport", purpose: "", controllers: ["engine", "transmission"], requires: needs({ hardware: ["large-cooler"] }),
        excludes: needs({ options: ["towing"] }), cautions: [] },
      { name: "towing", title: "Towing", purpose: "For hills.", controllers: ["engine"], requires: needs(), excludes: needs({ fuel: ["e85"] }), cautions: ["Slow on hills."] },
    ],
    questions: [
      { name: "fuel", text: "Which fuel?", kind: "choice", states: "fuel", required: true, choices: [{ name: "e85", text: "E85" }, { name: "petrol", text: "Petrol" }] },
      { name: "mass", text: "How heavy?", kind: "number", states: "", required: false, choices: [] },
    ],
    reads: [{ controller: "engine", title: "Engine, behind the battery", memories: [{ name: "flash", size: 4096 }, { name: "eeprom", size: 0 }], again: true }],
    cautions: ["Not for the road."],
  };
}

function forgedSheet(change = () => {}, keys = [SHEET_KEY]) {
  const value = soundSheet();
  return new Uint8Array(statement(JSON.stringify(change(value) ?? value), keys));
}

async function sheetReason(bytes, changeTrust) {
  try {
    await readSheet(bytes, await trustWith(changeTrust), "shop.sheet");
    return "accepted";
  } catch (fault) {
    if (fault.code === undefined) throw fault;
    return fault.code;
  }
}

test("a sheet is read, with the digest of its first line", async () => {
  const sheet = await readSheet(forgedSheet(), await trustWith(), "shop.sheet");
  assert.deepEqual(sheet, { ...soundSheet(), digest: sha256Hex(JSON.stringify(soundSheet())) });
});

const list = (count, make) => Array.from({ length: count }, (_, i) => make(i));
const ofOption = (change) => (value) => void change(value.options[0]);
const ofQuestion = (i, change) => (value) => void change(value.questions[i]);
const ofRead = (change) => (value) => void change(value.reads[0], value);
const digits = (i) => String(i).padStart(3, "0");
const INVALID = [
  ["a field too much", (value) => void (value.more = 1)],
  ["number 0", (value) => void (value.number = 0)],
  ["a key of small order", (value) => void (value.parcel_key = `01${"0".repeat(62)}`)],
  ["a key that is none", (value) => void (value.parcel_key = "09")],
  ["another root", (value) => void (value.root = STRANGER.id)],
  ["options out of order", (value) => void value.options.reverse()],
  ["an option twice", (value) => void (value.options[1].name = "sport")],
  ["257 options", (value) => void (value.options = list(257, (i) => ({ ...value.options[0], name: `o${digits(i)}`, excludes: needs() })))],
  ["an option of no controller", ofOption((option) => void (option.controllers = []))],
  ["controllers out of order", ofOption((option) => void option.controllers.reverse())],
  ["a title of two lines", ofOption((option) => void (option.title = "a\nb"))],
  ["a purpose of 4,097 bytes", ofOption((option) => void (option.purpose = "p".repeat(4097)))],
  ["a required option that is not on the sheet", ofOption((option) => void (option.requires.options = ["tune"]))],
  ["an excluded option that is not on the sheet", ofOption((option) => void (option.excludes.options = ["tune"]))],
  ["required hardware out of order", ofOption((option) => void (option.requires.hardware = ["b", "a"]))],
  ["excluded fuel twice", ofOption((option) => void (option.excludes.fuel = ["a", "a"]))],
  ["a question twice", ofQuestion(1, (question) => void (question.name = "fuel"))],
  ["a kind that is none", ofQuestion(1, (question) => void (question.kind = "date"))],
  ["one choice", ofQuestion(0, (question) => void question.choices.pop())],
  ["65 choices", ofQuestion(0, (question) => void (question.choices = list(65, (i) => ({ name: `c${i}`, text: "" }))))],
  ["a choice twice", ofQuestion(0, (question) => void (question.choices[1].name = "e85"))],
  ["choices of a number", ofQuestion(1, (question) => void (question.choices = [{ name: "a", text: "" }, { name: "b", text: "" }]))],
  ["a number that states a fuel", ofQuestion(1, (question) => void (question.states = "fuel"))],
  ["65 questions", (value) => void (value.questions = list(65, (i) => ({ ...value.questions[1], name: `q${i}` })))],
  ["a controller's reads twice", ofRead((read, value) => void value.reads.push(read))],
  ["reads out of order", ofRead((read, value) => void value.reads.push({ ...read, controller: "dashboard" }))],
  ["a read of no memory", ofRead((read) => void (read.memories = []))],
  ["a memory twice", ofRead((read) => void (read.memories[1].name = "flash"))],
  ["a memory above 256 MiB", ofRead((read) => void (read.memories[0].size = 2 ** 28 + 1))],
  ["17 memories", ofRead((read) => void (read.memories = list(17, (i) => ({ name: `m${i}`, size: 0 }))))],
  ["17 reads", (value) => void (value.reads = list(17, (i) => ({ ...value.reads[0], controller: `c${digits(i)}` })))],
  ["65 cautions", (value) => void (value.cautions = list(65, (i) => `c${i}`))],
  ["a caution of 201 bytes", (value) => void (value.cautions = ["c".repeat(201)])],
];
for (const [name, change] of INVALID) {
  test(`a sheet with ${name} is refused`, async () => assert.equal(await sheetReason(forgedSheet(change)), "sheet-invalid"));
}

const GOOD = [
  (value) => void (value.parcel_key = ""),
  (value) => void Object.assign(value, { options: [], questions: [], reads: [], cautions: [] }),
  (value) => void (value.options = list(256, (i) => ({ ...value.options[0], name: `o${digits(i)}`, excludes: needs() }))),
  ofOption((option) => void (option.requires.options = ["towing"])),
  (value) => void (value.questions = list(64, (i) => ({ ...value.questions[1], name: `q${i}` }))),
  ofQuestion(0, (question) => void (question.choices = list(64, (i) => ({ name: `c${i}`, text: "" })))),
  ofRead((read) => void (read.memories = list(16, (i) => ({ name: `m${i}`, size: 2 ** 28 })))),
];
test("what is within the limits is accepted", async () => {
  for (const change of GOOD) assert.equal(await sheetReason(forgedSheet(change)), "accepted", String(change));
});

test("the reasons about its signers, and their order", async () => {
  const rows = [
    ["signer-unknown", forgedSheet(() => {}, [STRANGER])],
    ["signer-unknown", forgedSheet((value) => void (value.number = 0), [SHEET_KEY, STRANGER])],
    ["signature-bad", forgedSheet().map((byte, i, all) => (i === all.length - 2 ? (byte === 0x30 ? 0x31 : 0x30) : byte))],
    ["key-compromised", forgedSheet(), (key) => void Object.assign(key, { state: "compromised", roles: ["author"] })],
    ["roles-missing", forgedSheet(), (key) => void Object.assign(key, { roles: ["author", "withdrawal"], jobs: ["oak-17"] })],
    ["key-scope", forgedSheet((value) => void (value.claimed_time = "2029-01-01T00:00:00Z")), (key) => void (key.jobs = ["oak-17"])],
    ["key-scope", forgedSheet(), (key) => void (key.controllers = ["engine"])],
    ["accepted", forgedSheet(), (key) => void (key.region_maps = ["1".repeat(64)])],
    ["key-validity", forgedSheet((value) => void (value.claimed_time = "2031-01-01T00:00:00Z"))],
    ["sheet-invalid", forgedSheet((value) => void (value.root = STRANGER.id)), (key) => void (key.state = "compromised")],
  ];
  for (const [reason, bytes, change] of rows) assert.equal(await sheetReason(bytes, change), reason);
});

test("size, kind and lines come first", async () => {
  assert.equal(await sheetReason(new Uint8Array(2 ** 20 + 1)), "file-too-large");
  assert.equal(await sheetReason(forgedSheet((value) => void (value.calseal = "sheet/2"))), "type-wrong");
  assert.equal(await sheetReason(new Uint8Array()), "type-wrong");
  assert.equal(await sheetReason(forgedSheet().subarray(0, -1)), "sheet-invalid");
  assert.equal(await sheetReason(utf8(JSON.stringify(soundSheet()))), "sheet-invalid");
});

test("every turned bit, cut and added byte of a sheet is refused", async () => {
  const tiny = forgedSheet((value) => void Object.assign(value, { options: [], questions: [], reads: [], cautions: [] }));
  assert.equal(await sheetReason(tiny), "accepted");
  for (let bit = 0; bit < 8 * tiny.length; ++bit) {
    const bent = tiny.slice();
    bent[bit >> 3] ^= 1 << (bit & 7);
    assert.notEqual(await sheetReason(bent), "accepted", `bit ${bit}`);
  }
  for (let size = 0; size < tiny.length; ++size) assert.notEqual(await sheetReason(tiny.subarray(0, size)), "accepted");
  assert.equal(await sheetReason(Uint8Array.of(...tiny, 10)), "sheet-invalid");
});

// Looking at the reads.

const noise = (size, seed = 1) => {
  let state = seed;
  return Uint8Array.from({ length: size }, () => (state = (Math.imul(state, 1103515245) + 12345) >>> 0) >>> 24);
};
const withBlocks = (blocks, blank, value = 0xff, rest = 0) => {
  const bytes = noise(blocks * 4096 + rest, 5);
  bytes.fill(value, 0, blank * 4096);
  return bytes;
};
const read = (bytes, controller = "engine", memory = "flash", series = 1) => ({ controller, memory, series, bytes });
const look = (...reads) => lookAtReads(reads, [{ controller: "engine", title: "", memories: [{ name: "flash", size: 8192 }, { name: "eeprom", size: 0 }], again: true }]);
const alone = (bytes, memory = "eeprom", controller = "engine") => look(read(bytes, controller, memory))[0];
const repeat = (part, count) => Uint8Array.from({ length: part.length * count }, (_, i) => part[i % part.length]);
const records = utf8(":0400000001020304F2\n:00000001FF\n");

test("what a single read shows", () => {
  const rows = [
    ["nothing", [], noise(8192), "flash"],
    ["empty", ["empty"], new Uint8Array(), "flash"],
    ["another size", ["size"], noise(8191), "flash"],
    ["another size, not asked", [], noise(4096), "eeprom"],
    ["another size of records", [], records, "flash"],
    ["cut off", ["cut-off"], noise(4097), "eeprom"],
    ["cut off, nobody knows where", ["cut-off"], noise(1023), ""],
    ["records are of any size", [], records, "eeprom"],
    ["blank, ff", ["blank"], withBlocks(17, 17), "eeprom"],
    ["blank, 00", ["blank"], withBlocks(17, 17, 0), "eeprom"],
    ["16 of 17 blocks blank", ["blank"], withBlocks(17, 16), "eeprom"],
    ["15 of 16 blocks blank", [], withBlocks(16, 15), "eeprom"],
    ["a last part of a block does not count", ["blank"], withBlocks(17, 16, 0xff, 1024), "eeprom"],
    ["blocks of one value that is neither", [], withBlocks(1, 1, 0x55), "eeprom"],
    ["short and of one value", ["blank"], new Uint8Array(1024).fill(0x55), "eeprom"],
    ["short, but not of one value", [], noise(1024), "eeprom"],
    ["a block's size less one, of one value", ["blank", "cut-off"], new Uint8Array(4095).fill(9), "eeprom"],
    ["twice", ["repeated"], repeat(noise(4096), 2), "flash"],
    ["three times", ["repeated"], repeat(noise(1024), 3), "eeprom"],
    ["64 times", ["repeated"], repeat(noise(128), 64), "flash"],
    ["61 times, the largest prime that counts", ["repeated"], repeat(noise(1024), 61), "eeprom"],
    ["67 times, a prime", [], repeat(noise(1024), 67), "eeprom"],
    ["twice, but for the last byte", [], repeat(noise(4096), 2).map((byte, i, all) => (i === all.length - 1 ? byte ^ 1 : byte)), "flash"],
    ["blank is not repeated too", ["blank"], new Uint8Array(8192), "flash"],
  ];
  for (const [name, codes, bytes, memory] of rows) {
    assert.deepEqual(alone(bytes, memory), codes, name);
  }
});

test("a file of one value of a block or more is repeated where its parts are not blank", () => {
  // A half of 4,096 bytes of 55 is neither 00 nor ff; a quarter is shorter than a block and of one value, so blank.
  assert.deepEqual(alone(new Uint8Array(8192).fill(0x55), "flash"), ["repeated"]);
  assert.deepEqual(alone(new Uint8Array(4096).fill(0x55)), []);
});

test("what reads show beside one another", () => {
  const a = noise(8192);
  const changed = (count) => a.map((byte, i) => (i < count ? byte ^ 1 : byte));
  assert.deepEqual(look(read(a), read(a, "engine", "flash", 2)), [[], []]);
  assert.deepEqual(look(read(a), read(changed(128), "engine", "flash", 2)), [[], []]);
  assert.deepEqual(look(read(a), read(changed(129), "engine", "flash", 2)), [[], ["differs"]]);
  assert.deepEqual(look(read(a), read(a.subarray(0, 4096), "engine", "flash", 2)), [[], ["differs", "size"]]);
  assert.deepEqual(look(read(a), read(changed(200), "engine", "flash", 2), read(changed(200), "engine", "flash", 3)), [[], ["differs"], ["differs"]]);
  assert.deepEqual(look(read(a), read(a, "engine", "eeprom")), [["same"], ["same"]]);
  assert.deepEqual(look(read(a), read(a, "transmission", "flash")), [["same"], ["same"]]);
  assert.deepEqual(look(read(a, "", ""), read(a, "", "")), [[], []]);
  assert.deepEqual(look(read(a, "", ""), read(noise(8192, 3), "", "", 2)), [[], []], "nobody said of which memory");
  assert.deepEqual(look(read(new Uint8Array()), read(new Uint8Array(), "engine", "eeprom")), [["empty"], ["empty"]]);
  assert.deepEqual(look(read(new Uint8Array()), read(a, "engine", "flash", 2)), [["empty"], ["differs"]]);
});
