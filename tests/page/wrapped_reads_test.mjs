// Reads in declared wrappings, reads that cannot be seen into, bases that came failing or in part: what calseal seals out of them,
// judged by both, with the reason that must come.
import assert from "node:assert/strict";
import crypto from "node:crypto";
import { spawnSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { test } from "node:test";
import zlib from "node:zlib";

import { differences } from "./answers.mjs";
import { askBoth } from "./both.mjs";
import { keyFrom, statement, takeApart } from "./forge.mjs";
import { bundlePart, changedPart, situation } from "./scenarios.mjs";
import { writeIntelHex } from "../../src/page/intel_hex.js";
import { seededRandom } from "./support.mjs";

const PASSPHRASE = "a passphrase for the tests only";
const ORIGIN = 0x80000000;
const SIZE = 0x8000;
const WRAPPED = 0x7000;  // bytes of the image that the wrapping holds
const folder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-wrapped-"));
process.on("exit", () => fs.rmSync(folder, { recursive: true, force: true }));
const at = (name) => path.join(folder, name);
const random = seededRandom("wrapped reads");

const hex = (offset) => `0x${(ORIGIN + offset).toString(16)}`;
const place = (offset, size) => ({ memory: "flash", start: hex(offset), size });
const inFile = (offset, size) => ({ memory: "file", start: `0x${offset.toString(16).padStart(8, "0")}`, size });
const slot = (memory, address, size, more = {}) => ({ memory, at: address, size, ...more });

const regionMap = (holeIsFill) => JSON.stringify({
  calseal: "region-map/1", name: "wrapped", controller: "engine", version: 1,
  memories: [{ name: "flash", origin: hex(0), size: SIZE, hole_is_fill: holeIsFill }],
  recognise: { all: [{ memory: "flash", at: hex(0x10), bytes: "cafe" }], software_numbers: ["SW-1037"] },
  forms: [
    { name: "boxed", note: "header, image without its end, trailer",
      blocks: [{ constant: "424f5821" }, { opaque: 4 }, place(0, WRAPPED), { opaque: 2 }], omitted: [place(WRAPPED, SIZE - WRAPPED)], fill: "ff",
      checksums: [
        { name: "body", algorithm: { crc: "CRC-32/ISO-HDLC" }, coverage: [inFile(8, WRAPPED)], slots: [slot("file", "0x00000004", 4, { order: "big" })] },
        { name: "trailer", algorithm: { sum: { unit: 8, accumulator: 16 } }, coverage: [inFile(0, WRAPPED + 8)], slots: [slot("file", `0x${(WRAPPED + 8).toString(16).padStart(8, "0")}`, 2)] },
      ] },
    { name: "locked", signature: "4c4f434b", note: "save the read without the lock" },
  ],
  regions: [
    { name: "learned", ...place(0x2000, 0x100), policy: "volatile" },
    { name: "maps", ...place(0x4000, 0x1000), policy: "editable" },
    { name: "spare", ...place(0x7800, 16), policy: "editable" },
  ],
  checksums: [
    { name: "block", algorithm: { crc: "CRC-32/ISO-HDLC" }, coverage: [place(0x4000, 0x1000)], slots: [slot("flash", hex(0x5000), 4)] },
    { name: "learned", algorithm: { sum: { unit: 8, accumulator: 16 } }, coverage: [place(0x2000, 0x100)], slots: [slot("flash", hex(0x2100), 2)] },
  ],
  identity: [
    { name: "software", kind: "software-number", ...slot("flash", hex(0), 8), encoding: "ascii" },
    { name: "serial", kind: "serial", ...slot("flash", hex(0x1000), 8), encoding: "hex", binds: true },
    { name: "cvn", kind: "verification-number", ...slot("flash", hex(0x5000), 4), encoding: "hex" },
  ],
  link: { read_rate: 2000, write_rate: 5000 },
  evidence: { author: "tests", verified_on: [], guesses: [], grade: "draft" },
});

function soundImage() {
  const bytes = Buffer.from(Uint8Array.from({ length: SIZE }, (_, i) => ((i * 7) >> 6) & 0x3f));
  bytes.write("SW-1037\0", 0, "latin1");
  bytes.set([0xca, 0xfe], 0x10);
  bytes.set([1, 2, 3, 4, 5, 6, 7, 8], 0x1000);
  bytes.fill(0xff, WRAPPED);
  return withChecks(bytes);
}
const sum = (bytes) => bytes.reduce((total, byte) => (total + byte) & 0xffff, 0);
function crc32(bytes) {
  // The trailer of a gzip member is CRC-32 and size (RFC 1952).
  return zlib.gzipSync(bytes).readUInt32LE(zlib.gzipSync(bytes).length - 8);
}
function withChecks(bytes) {
  bytes.writeUInt32LE(crc32(bytes.subarray(0x4000, 0x5000)), 0x5000);
  bytes.writeUInt16LE(sum(bytes.subarray(0x2000, 0x2100)), 0x2100);
  return bytes;
}
function edited(bytes, change) {
  const other = Buffer.from(bytes);
  change(other);
  return other;
}
function boxed(image) {
  const file = Buffer.concat([Buffer.from("BOX!"), Buffer.alloc(4), image.subarray(0, WRAPPED), Buffer.alloc(2)]);
  file.writeUInt32BE(crc32(file.subarray(8, WRAPPED + 8)), 4);
  file.writeUInt16LE(sum(file.subarray(0, WRAPPED + 8)), WRAPPED + 8);
  return file;
}
const records = (image, ...parts) => Buffer.from(writeIntelHex(parts.map(([begin, end]) => ({ address: ORIGIN + begin, bytes: new Uint8Array(image.subarray(begin, end)) }))));

const sound = soundImage();
const failing = edited(sound, (bytes) => bytes.set([1, 2, 3], 0x4100) || bytes.set([9], 0x2050));
const part = records(sound, [0, 0x20], [0x4000, 0x5004]);
const files = {
  sound, failing, part, tuned: edited(sound, (bytes) => bytes.set([5, 5, 5], 0x4200)),
  spare: edited(sound, (bytes) => bytes.set([0x12, 0x34], 0x7802)),
  "part-tuned": records(withChecks(edited(sound, (bytes) => bytes.set([5, 5, 5], 0x4200))), [0, 0x20], [0x4000, 0x5004]),
};

function run(...options) {
  const done = spawnSync(process.env.CALSEAL, options, { cwd: folder, encoding: "utf8", env: { ...process.env, CALSEAL_PASSPHRASE: PASSPHRASE } });
  assert.equal(done.status, 0, `${options.join(" ")}: ${done.stdout}${done.stderr}`);
}

function sealAll() {
  for (const [name, bytes] of Object.entries(files)) fs.writeFileSync(at(name), bytes);
  fs.writeFileSync(at("whole.json"), regionMap(true));
  fs.writeFileSync(at("partial.json"), regionMap(false));
  fs.mkdirSync(at("keys"));
  run("shop", "new", "keys", "--name", "Demo Shop", "--claimed-time", "2020-01-01T00:00:00Z");
  const seal = (...options) => run("seal", ...options, "--key", "keys/author.key", "--trust", "keys/shop.trust");
  const base = (map, read, out, ...more) => seal("--job", "oak-17", "--vehicle", "blue estate", "--regions", map, "--base", read, ...more, "-o", out);
  const revision = (from, image, out) => seal("--base-bundle", from, "--image", image, "--salt", "job.salt", "--correct", "-o", out);
  base("whole.json", "sound", "r0", "--new-salt", "job.salt");
  revision("r0", "tuned", "r1");
  revision("r0", "spare", "r2");
  base("whole.json", "failing", "f0", "--salt", "job.salt", "--as-received");
  base("partial.json", "part", "p0", "--salt", "job.salt");
  fs.writeFileSync(at("box"), boxed(sound));
  base("whole.json", "box", "b0", "--salt", "job.salt");
  revision("p0", "part-tuned", "p1");
}

function makeRows() {
  sealAll();
  const raw = (bytes) => ({ bytes, text: null, seal: null });
  const secret = (name) => keyFrom(crypto.createPrivateKey({ key: fs.readFileSync(at(`keys/${name}.key`)), passphrase: PASSPHRASE }));
  const author = secret("author");
  const root = secret("root");
  const trustText = fs.readFileSync(at("keys/shop.trust"));
  const trust = { bytes: trustText, text: trustText.subarray(0, trustText.indexOf(0x0a)), seal: (text) => statement(text, [root]) };
  const salt = raw(fs.readFileSync(at("job.salt")));
  const sealed = (name) => {
    const { manifest, contents } = takeApart(fs.readFileSync(at(name)));
    return { ...bundlePart(manifest, contents, [author]), bytes: fs.readFileSync(at(name)) };
  };
  const one = (name, bundle, bytes, flags = {}, memory = "") =>
    situation(name, { bundle: sealed(bundle), trust, salt, reads: bytes === null ? [] : [{ memory, ...raw(bytes) }] }, flags);
  const claim = (name, bundle, bytes, change, flags = {}) => changedPart(one(name, bundle, bytes, flags), "bundle", (tree) => change(tree.controllers[0], tree));
  const noise = (size) => Buffer.from(random.bytes(size));
  const locked = (size) => edited(noise(size), (bytes) => bytes.write("LOCK"));
  const flip = (bytes, offset) => edited(bytes, (file) => void (file[offset] ^= 1));
  const box = boxed(sound);
  const hole = records(sound, [0, WRAPPED]);
  const word = { vehicle: "blue estate" };
  const state = (index, value) => (c) => void (c.checksums[index].state = value);
  return [
    ["accepted", one("a wrapping", "r1", box)],
    ["accepted", one("a wrapping, named", "r1", box, {}, "flash")],
    ["accepted", one("a wrapping of an edited image", "r1", boxed(withChecks(edited(sound, (bytes) => bytes.set([8], 0x4800)))))],
    ["accepted", one("the way back in a wrapping", "r0", boxed(withChecks(files.tuned)))],
    ["form-omits", one("an edit where the wrapping has no place", "r2", box)],
    ["accepted", one("the same edit in a raw file", "r2", sound)],
    ["accepted", one("records with a hole", "r1", hole)],
    ["form-omits", one("an edit in the hole", "r2", hole)],
    ["form-checksum", one("a wrapping damaged in the image", "r1", flip(box, 0x4444))],
    ["form-checksum", one("a wrapping damaged in its header", "r1", flip(box, 5))],
    ["form-checksum", one("a wrapping damaged in its trailer", "r1", flip(box, WRAPPED + 9), {}, "flash")],
    ["form-unknown", one("a wrapping with another constant", "r1", flip(box, 0))],
    ["form-opaque", one("a locked file", "r1", locked(5000))],
    ["form-opaque", one("a locked file as long as the memory", "r1", locked(SIZE), {}, "flash")],
    ["form-opaque", one("a locked file as long as the wrapping", "r1", locked(box.length))],
    ["form-opaque", one("noise of another size", "r1", noise(0x6123))],
    ["form-opaque", one("noise as long as the wrapping", "r1", noise(box.length), {}, "flash")],
    ["image-size", one("too little noise to tell", "r1", noise(0x3000))],
    ["read-foreign", one("noise as long as the memory", "r1", noise(SIZE))],
    ["accepted", one("a base that came failing", "f0", failing)],
    ["accepted", one("the same over a sound read", "f0", sound)],
    ["accepted", one("the same in a wrapping", "f0", boxed(sound))],
    ["accepted", one("the same without a read", "f0", null, { ...word, revive: true })],
    ["checksum-fails", claim("it failed and is said to hold", "f0", failing, state(0, "holds"))],
    ["claim-mismatch", claim("it holds and is said to fail", "r0", sound, state(0, "fails"))],
    ["claim-mismatch", claim("a later revision says that it fails", "r1", sound, state(0, "fails"))],
    ["claim-mismatch", claim("a floating one is said not to be provable", "f0", failing, state(1, "not-provable"))],
    ["", claim("a failing base, with another value", "f0", failing, (c) => void (c.checksums[0].value = "00000000"))],
    ["", claim("a failing base as a later revision", "f0", failing, (c, tree) => void (tree.revision = 1))],
    ["accepted", one("a base that came wrapped, without a read", "b0", null, { ...word, revive: true })],
    ["accepted", changedPart(one("the same, its opaque bytes forgotten", "b0", null, { ...word, revive: true }), "bundle",
      (tree) => void (tree.annotations = []))],
    ["accepted", changedPart(one("the same, with too few of them", "b0", null, { ...word, revive: true }), "bundle",
      (tree) => void (tree.annotations = [["wrapping", "boxed 00"]]))],
    ["accepted", changedPart(one("the same, with no digits", "b0", null, { ...word, revive: true }), "bundle",
      (tree) => void (tree.annotations = [["wrapping", "boxed 0G"], ["wrapping", "other 00"]]))],
    ["accepted", one("a base in part", "p0", part, word)],
    ["accepted", one("a revision of a base in part", "p1", part, word)],
    ["accepted", one("a revision of a base in part, over a whole read", "p1", sound, word)],
    ["vehicle-not-provable", one("a base in part, without a vehicle reference", "p1", part)],
    ["accepted", changedPart(one("a caution of the shop beside those of its own", "r1", sound), "bundle", (tree) => void tree.cautions.push("mind the gap"))],
  ];
}

const rows = makeRows();
test("both judge these reads alike, for the reason that must come", async () => {
  const wrong = [];
  for (const [expected, wanted] of rows) {
    const [checker, page] = await askBoth(wanted);
    const found = checker.verdict === "refused" ? checker.reason : checker.verdict;
    if (expected !== "" && found !== expected) wrong.push(`${wanted.name}: ${found}, expected ${expected}`);
    wrong.push(...differences(checker, page).map((text) => `${wanted.name}: ${text}`));
  }
  assert.deepEqual(wrong, [], `CALSEAL_SEED=${random.seed}`);
});

test("cautions are those that the base calls for", async () => {
  const codes = async (name) => (await askBoth(rows.find(([, one]) => one.name === name)[1]))[1].codes;
  assert.ok((await codes("a base that came failing")).includes("received-failing"));
  const partly = await codes("a revision of a base in part");
  for (const code of ["base-partial", "checks-not-provable", "vehicle-not-read", "verification-number"]) assert.ok(partly.includes(code), code);
  assert.ok(!(await codes("a revision of a base in part")).includes("shop"));
  assert.equal((await codes("a caution of the shop beside those of its own")).filter((code) => code === "shop").length, 1);
});
