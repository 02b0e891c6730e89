// The one place for files: what a file is told to be, what is used for what, what is missing, and packed downloads that are broken.
import assert from "node:assert/strict";
import { test } from "node:test";
import zlib from "node:zlib";

import "./platform.mjs";
import { GivenFiles } from "../../src/page/given_files.js";
import { Refusal } from "../../src/page/reason.js";
import { tellFile } from "../../src/page/tell_file.js";
import { unzip } from "../../src/page/unzip.js";
import { readFixture, seededRandom } from "./support.mjs";

const bytes = (text) => new Uint8Array(Buffer.from(text, "latin1"));
const file = (name, content) => ({ name, bytes: typeof content === "string" ? bytes(content) : content });

// As packers write it: a local header, the content, a directory.
function packed(entries) {
  const locals = [];
  const centrals = [];
  let at = 0;
  for (const { name, content, method = 8, size = content.length, flags = 0, stored = method === 8 ? zlib.deflateRawSync(content) : content } of entries) {
    const fields = Buffer.alloc(26);
    [20, flags, method, 0, 0].forEach((value, i) => fields.writeUInt16LE(value, 2 * i));
    fields.writeUInt32LE(stored.length, 14);
    fields.writeUInt32LE(size, 18);
    fields.writeUInt16LE(name.length, 22);
    const tail = Buffer.alloc(14);
    tail.writeUInt32LE(at, 10);
    locals.push(Buffer.from("PK\u0003\u0004"), fields, Buffer.from(name), stored);
    centrals.push(Buffer.from("PK\u0001\u0002\u0014\u0000"), fields, tail, Buffer.from(name));
    at += 30 + name.length + stored.length;
  }
  const directory = Buffer.concat(centrals);
  const end = Buffer.alloc(22);
  end.write("PK\u0005\u0006", "latin1");
  [8, 10].forEach((offset) => end.writeUInt16LE(entries.length, offset));
  end.writeUInt32LE(directory.length, 12);
  end.writeUInt32LE(at, 16);
  return new Uint8Array(Buffer.concat([...locals, directory, end]));
}

test("a file is told by its content, whatever its name", () => {
  const rows = [
    ["bundle", readFixture("bundles", "tiny-revision.calseal")], ["trust", readFixture("bundles", "shop.trust")], ["salt", readFixture("bundles", "job.salt")],
    ["salt", `${"AB".repeat(32)}\r\n`], ["withdrawals", '{"calseal":"withdrawal/1","x":1}'], ["jobList", '{"calseal":"job-list/1"'],
    ["successions", '{"calseal":"succession/1"'], ["inclusion", '{"calseal":"inclusion/1"'], ["state", '{"calseal":"state/1"'],
    ["foreign", '{"calseal":"receipt/1"'], ["customer", '{"calseal":"customer/1"'], ["page", "<!DOCTYPE html><html>"], ["empty", ""], ["records", ":10000000" + "0".repeat(34)],
    ["records", "S0030000FC\r\n"], ["records", readFixture("bundles", "base-flash.hex")], ["raw", readFixture("bundles", "base-flash.bin")],
    ["raw", "\u0000".repeat(64)], ["raw", "S"], ["zip", packed([{ name: "a.bin", content: bytes("x") }])],
  ];
  for (const [kind, content] of rows) assert.equal(tellFile(file("whatever", content)), kind, String(content).slice(0, 40));
  // A damaged one is known by its name.
  for (const [kind, name] of [["bundle", "R1.CALSEAL"], ["salt", "a.salt"], ["state", "checker.state"], ["customer", "me (1).customer"]]) assert.equal(tellFile(file(name, "\u0001damaged")), kind);
});

const MEMORIES = [["flash", 256], ["nv", 64], ["spare", 64]].map(([name, size]) => ({ name, extent: { begin: 0, end: size }, known: [{}] }));
const seal = (change = {}) => ({ outcome: "authentic", manifest: { job: "oak", base: { number: 1 }, sequence: 1, set: "", salt_digest: "ab",
  controllers: [{ name: "engine", memories: MEMORIES }], ...change } });

function given(...seals) {
  const files = new GivenFiles();
  const bundles = seals.map((one, i) => Object.assign(files.add(file(`${i}.calseal`, "x")), { seal: one }));
  return { files, bundles };
}

test("a customer file that keeps the salt of the job stands for it, a damaged one does not", () => {
  const { files } = given(seal());
  const isSaltMissing = () => files.missing({ revive: false, vehicle: "" }).some(({ key }) => key === "salt");
  const entry = files.add(file("me.customer", '{"calseal":"customer/1"'));
  assert.deepEqual([files.customer, isSaltMissing()], [null, true]);
  entry.customer = { salts: [{ job: "elm", salt: "00" }] };
  assert.deepEqual([files.customer, files.keepsSalt, isSaltMissing()], [entry, false, true]);
  entry.customer = { salts: [{ job: "elm", salt: "00" }, { job: "oak", salt: "11" }] };
  assert.deepEqual([files.keepsSalt, isSaltMissing()], [true, false]);
  files.add(file("other.customer", '{"calseal":"customer/1"'));
  assert.deepEqual([files.entries.length, files.customer], [2, null]);
});

test("of several bundles the newest is checked, partners and others stand beside it", () => {
  const set = { set: "ef" };
  const { files, bundles } = given(seal({ sequence: 1, ...set }), seal({ sequence: 3, ...set }), seal({ sequence: 2 }), seal({ ...set, controllers: [{ name: "gearbox", memories: [] }] }),
    { outcome: "refused", manifest: null });
  const roles = () => bundles.map((one) => files.roleOf(one));
  assert.deepEqual(roles(), ["aside", "main", "aside", "partner", "aside"]);
  assert.deepEqual(files.request().partners.map(({ name }) => name), ["3.calseal"]);
  assert.equal(files.request().newest, null);
  files.chosen = bundles[0].id;
  assert.deepEqual(roles(), ["main", "newest", "aside", "partner", "aside"]);
  assert.equal(files.request().newest.name, "1.calseal");
  files.remove(bundles[0].id);
  assert.equal(files.main, bundles[1]);
});

test("reads find their memories by size, and what is missing is named", () => {
  const { files } = given(seal());
  const missing = (more = {}) => files.missing({ revive: false, vehicle: "", ...more }).map(({ key, memory }) => (memory ? `${key} ${memory.name}` : key));
  assert.deepEqual(missing(), ["read flash", "read nv", "read spare", "salt"]);
  assert.deepEqual(missing({ revive: true }), ["vehicle"]);
  files.add(file("f", "f".repeat(256)));
  files.add(file("s", "ab".repeat(32)));
  assert.deepEqual(missing(), ["read nv", "read spare"]);
  const unsure = files.add(file("n", "n".repeat(64)));
  assert.deepEqual(files.choiceFor(unsure).map(({ name }) => name), ["nv", "spare"]);
  assert.deepEqual(missing(), [], "nobody can say which is missing");
  unsure.memory = "spare";
  assert.deepEqual(missing(), ["read nv"]);
  assert.deepEqual(files.request().reads.map(({ memory, name }) => [memory, name]), [["flash", "f"], ["spare", "n"]]);
  unsure.memory = "gone";
  assert.equal(files.memoryOf(unsure), "", "a memory that this bundle does not have is none");
  files.add(file("f", "F".repeat(256)));
  assert.equal(files.reads.filter(({ name }) => name === "f").length, 1, "a mended file takes the place of the old one");
});

test("successions are given oldest first, whatever the order", () => {
  const files = new GivenFiles();
  for (const year of [2028, 2026, 2027]) files.add(file(`${year}`, `{"calseal":"succession/1","old_trust":"\\"claimed_time\\":\\"2099\\"","new_root":"00","claimed_time":"${year}-01-01T00:00:00Z","reason":"x"}`));
  assert.deepEqual(files.request().successions.map(({ name }) => name), ["2026", "2027", "2028"]);
});

test("a packed download gives its files, and nothing else", async () => {
  const content = bytes("a read of the controller ".repeat(50));
  const files = await unzip(file("all.zip", packed([{ name: "in/", content: bytes(""), method: 0 }, { name: "in/a.bin", content }, { name: "b.salt", content: bytes("s"), method: 0 },
    { name: "__MACOSX/in/._a.bin", content: bytes("x") }, { name: "in/.DS_Store", content: bytes("x") }])));
  assert.deepEqual(files.map(({ name, bytes: one }) => [name, Buffer.from(one).toString()]), [["a.bin", Buffer.from(content).toString()], ["b.salt", "s"]]);
});

test("a broken or swollen one is refused, and never unpacked past what it declares", async () => {
  const zeros = Buffer.alloc(2 ** 20);
  const rows = {
    "more than declared": packed([{ name: "a", content: zeros, size: 100 }]),
    "less than declared": packed([{ name: "a", content: bytes("abc"), size: 100 }]),
    "too much in all": packed([{ name: "a", content: bytes("a"), size: 2 ** 29 }]),
    "too many": packed(Array.from({ length: 101 }, (_, i) => ({ name: `f${i}`, content: bytes("a") }))),
    "a password": packed([{ name: "a", content: bytes("abc"), flags: 1 }]),
    "another method": packed([{ name: "a", content: bytes("abc"), method: 12 }]),
    "cut off": packed([{ name: "a", content: bytes("abc") }]).subarray(0, 60),
  };
  for (const [name, broken] of Object.entries(rows)) {
    await assert.rejects(unzip(file("a.zip", broken)), (fault) => fault instanceof Refusal && fault.code === "file-unreadable", name);
  }
});

test("whatever is damaged in one, it ends with files or a refusal", async () => {
  const random = seededRandom("unzip");
  const sound = packed([{ name: "a.bin", content: random.bytes(300) }, { name: "b.bin", content: random.bytes(100), method: 0 }]);
  let refused = 0;
  for (let i = 0; i < 600; ++i) {
    const bent = Uint8Array.from(sound.subarray(0, random.below(4) === 0 ? random.below(sound.length) : sound.length));
    for (let k = random.below(4); k >= 0; --k) bent[random.below(bent.length)] = random.below(256);
    try {
      await unzip(file("a.zip", bent));
    } catch (fault) {
      assert.ok(fault instanceof Refusal, `seed ${random.seed}, ${i}: ${fault.stack}`);
      ++refused;
    }
  }
  assert.ok(refused > 200 && refused < 600, String(refused));
});
