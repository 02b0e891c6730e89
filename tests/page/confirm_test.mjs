// After the write: the page's core and `calseal confirm` on the same read-backs and scans. The same answer, reason, grade, counts,
// first difference and cautions. Printed seed; CALSEAL_PAGE_CONFIRMS draws more.
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { test } from "node:test";

import "./platform.mjs";
import { confirmBundle } from "../../src/page/confirm.js";
import { trustPart } from "./scenarios.mjs";
import { sealRevision } from "./small_shop.mjs";
import { seededRandom } from "./support.mjs";
import { EDIT, readsOf, SALT, walnut, walnutMap } from "./walnut.mjs";

const PROGRAM = process.env.CALSEAL;
const CASES = Number(process.env.CALSEAL_PAGE_CONFIRMS ?? 300);
const NV = 256; // flat address of the second memory
const TRUST = trustPart().bytes;
const folder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-confirm-"));
process.on("exit", () => fs.rmSync(folder, { recursive: true, force: true }));

function put(name, bytes) {
  const at = path.join(folder, name);
  fs.writeFileSync(at, bytes);
  return { name: at, bytes: new Uint8Array(bytes) };
}

const isRead = (read) => read.bytes !== undefined;
const firstPlace = (first) => (first === null ? null : [first.memory, first.range.begin, first.range.end - first.range.begin, first.region, first.kind, first.exact]);

function askProgram({ bundle, trust, reads, before, scan, salt }) {
  const files = (option, list) => list.flatMap(({ memory, name }) => [option, memory === "" ? name : `${memory}=${name}`]);
  const options = ["confirm", bundle.name, "--trust", trust.name, ...files("--read", reads), ...files("--before", before),
    ...scan.flatMap(({ name, value }) => ["--scan", `${name}=${value}`]), ...(salt === null ? [] : ["--salt", salt.name])];
  const run = spawnSync(PROGRAM, [...options, "--json"], { encoding: "utf8" });
  assert.equal(run.signal, null, run.stderr);
  const told = JSON.parse(run.stdout);
  // Wrong usage, and files that were not even looked at.
  if (told.calseal === "error/1") return { reason: told.reason };
  const { read } = told;
  const first = read.first_difference?.memory === undefined ? null : read.first_difference;
  return { verdict: told.verdict, reason: told.reason, grade: told.grade, cautions: told.cautions.map(({ code }) => code),
    scan: told.scan.map((one) => `${one.name} ${one.kind} ${one.state} ${one.tells_apart} ${one.why}`),
    read: read.vehicle_proof === undefined ? null : [read.vehicle_proof, read.bytes_compared, read.bytes_differing, read.bytes_changed, read.bytes_arrived],
    first: first && [first.memory, Number(first.start), first.size, first.region, first.kind, first.exact] };
}

const NOT_LOOKED_AT = ["usage", "file-empty"];

async function askPage(request) {
  const told = await confirmBundle(request);
  if (NOT_LOOKED_AT.includes(told.reason?.code)) return { reason: told.reason.code };
  return { verdict: told.outcome, reason: told.reason?.code ?? "", grade: told.grade, cautions: told.cautions.map(({ code }) => code),
    scan: told.scan.map((one) => `${one.name} ${one.kind} ${one.state} ${one.tellsApart} ${one.why}`),
    read: told.isRead ? [told.vehicle, told.bytesCompared, told.bytesDiffering, told.bytesChanged, told.bytesArrived] : null,
    first: firstPlace(told.first) };
}

// One situation, by both; gives the answer that they share.
async function askBoth(written, { after = null, before = null, scan = [], salt = SALT, reads = null } = {}) {
  const lay = (name, image) => (image === null ? [] : readsOf(written.shape, image).map(({ memory, bytes }) => ({ memory, ...put(`${name}-${memory}`, bytes) })));
  const request = {
    bundle: put("bundle.calseal", sealRevision(written)), trust: put("shop.trust", TRUST), before: lay("before", before), scan,
    reads: (reads ?? lay("after", after)).map((read) => (isRead(read) && !path.isAbsolute(read.name) ? { ...read, ...put(read.name, read.bytes) } : read)),
    salt: salt === null ? null : put("job.salt", Buffer.from(salt.toString("hex"))),
  };
  const [page, program] = [await askPage({ ...request }), askProgram(request)];
  assert.deepEqual(page, program);
  return program;
}

function changed(image, ...edits) {
  const other = [...image];
  for (const [flat, byte] of edits) other[flat] = byte ?? other[flat] ^ 0x55;
  return other;
}

const from = (begin, end, source, target) => target.map((byte, i) => (i >= begin && i < end ? source[i] : byte));
const filled = (begin, end, value, target) => target.map((byte, i) => (i >= begin && i < end ? value : byte));

const written = walnut();
const { base, result } = written;

// Name, what is given, the reason or the grade that both must give.
const ROWS = [
  ["what was written is there", { after: result }, "bytes"],
  ["and with the read from before", { after: result, before: base }, "bytes"],
  ["without the salt", { after: result, salt: null }, "bytes"],
  ["learned values have changed, and their checksums with them", { after: walnut({ base: changed(base, [NV + 0x24], [NV + 0x28]) }).result }, "bytes"],
  ["nothing was written", { after: base }, "confirm-old"],
  ["nothing was written, by the read from before", { after: base, before: base }, "confirm-old"],
  ["a write that stopped, by the read from before", { after: from(0, 0x62, result, base), before: base }, "confirm-partial"],
  ["a write that stopped after the first region", { after: from(0, 0x60, result, base) }, "confirm-partial"],
  ["an erased sector", { after: filled(0x40, 0x80, 0xff, result), before: base }, "confirm-partial"],
  ["the calibration is there, the checksums are those from before", { after: from(0x80, 0x100, base, result), before: base }, "confirm-partial"],
  ["the writer's own checksum", { after: changed(result, [0x90]) }, "confirm-recorrected"],
  ["a byte of the calibration", { after: changed(result, [0x50]) }, "confirm-differs"],
  ["a byte of the calibration, beside the read from before", { after: changed(result, [0x50]), before: base }, "confirm-differs"],
  ["a locked byte", { after: changed(result, [0x84]) }, "confirm-differs"],
  ["another revision", { after: walnut({ edits: [[0x41, 9], [0x7e, 3]] }).result }, "confirm-differs"],
  ["another software", { after: changed(result, [0x10], [0x84]) }, "read-foreign"],
  ["another car", { after: changed(result, [NV + 3]) }, "vehicle-mismatch"],
  ["another car, without the salt", { after: changed(result, [NV + 3]), salt: null }, "checksum-fails"],
  ["another salt", { after: result, salt: Buffer.alloc(32, 1) }, "salt-wrong"],
  ["a checksum over learned values", { after: changed(result, [0x94]) }, "checksum-fails"],
  ["another controller before", { after: result, before: changed(base, [0x84]) }, "read-foreign"],
  ["one memory only", { reads: readsOf(written.shape, result).slice(0, 1) }, "read-incomplete"],
  ["a file cut off", { reads: readsOf(written.shape, result).map((read) => ({ ...read, bytes: read.bytes.subarray(0, 60) })) }, "image-size"],
  ["an empty file", { reads: readsOf(written.shape, result).map((read) => ({ ...read, bytes: read.bytes.subarray(0, 0) })) }, "file-empty"],
  ["nothing", {}, "none"],
  ["the calibration's number", { scan: [{ name: "cvn", value: "0x" + Buffer.from(result.slice(0x58, 0x5c)).toString("hex").toUpperCase() }] }, "verification-number"],
  ["the number from before", { scan: [{ name: "cvn", value: Buffer.from(base.slice(0x58, 0x5c)).toString("hex") }] }, "scan-mismatch"],
  ["the number the wrong way round", { scan: [{ name: "cvn", value: Buffer.from(result.slice(0x58, 0x5c)).reverse().toString("hex") }] }, "scan-mismatch"],
  ["names alone", { scan: [{ name: "software", value: " W100 " }, { name: "board", value: "12:34" }] }, "identity"],
  ["the car", { scan: [{ name: "vin", value: "WAL00000000000042" }] }, "identity"],
  ["the car, without the salt", { scan: [{ name: "vin", value: "WAL00000000000042" }], salt: null }, "none"],
  ["a value, with another salt", { scan: [{ name: "board", value: "1234" }], salt: Buffer.alloc(32, 1) }, "salt-wrong"],
  ["another car's number", { scan: [{ name: "vin", value: "WAL00000000000043" }] }, "scan-mismatch"],
  ["a value that is not sealed", { scan: [{ name: "count", value: "17" }] }, "none"],
  ["a field that there is not", { scan: [{ name: "colour", value: "blue" }] }, "usage"],
  ["a field twice", { scan: [{ name: "board", value: "1234" }, { name: "board", value: "1234" }] }, "usage"],
  ["bytes and a number", { after: result, scan: [{ name: "board", value: "1234" }] }, "bytes"],
  ["right bytes and a wrong number", { after: result, scan: [{ name: "board", value: "1235" }] }, "scan-mismatch"],
];

test("each kind of read-back and scan has its answer, by both", async (t) => {
  for (const [name, given, expected] of ROWS) {
    await t.test(name, async () => {
      const told = await askBoth(written, given);
      assert.equal(told.reason || told.grade, expected);
    });
  }
});

test("revision 0 is confirmed too", async () => {
  const first = walnut({ revision: 0 });
  assert.equal((await askBoth(first, { after: base })).grade, "bytes");
  assert.equal((await askBoth(first, { after: result, before: result })).reason, "confirm-old");
  const number = Buffer.from(base.slice(0x58, 0x5c)).toString("hex");
  assert.equal((await askBoth(first, { scan: [{ name: "cvn", value: number }] })).grade, "verification-number");
});

test("a map without sectors tells erased spans by themselves", async () => {
  const { erase_sectors: _, ...map } = walnutMap();
  const plain = walnut({ map });
  await askBoth(plain, { after: filled(0x40, 0x60, 0xff, plain.result) });
  await askBoth(plain, { after: filled(0, 256, 0xff, plain.result), before: plain.base });
});

// Read-backs as chance makes them.
const SCAN_VALUES = ["W100", "W101", "1234", "WAL00000000000042", "0", "ff", "0xAA", "zz"];

function drawnImage(random, revision) {
  const other = walnut({ edits: EDIT.map(([flat]) => [flat, random.below(256)]) }).result;
  const start = random.below(320);
  const end = start + random.below(320 - start + 1);
  const ways = [
    () => revision.result, () => revision.base, () => other,
    () => from(0, start, revision.result, revision.base),
    () => from(start, end, revision.base, revision.result),
    () => filled(start & ~63, end, 0xff, revision.result),
    () => changed(revision.result, [random.below(320)]),
    () => changed(revision.base, [random.below(320)], [random.below(320)]),
    () => changed(revision.result, [NV + 0x20 + random.below(16)], [0xc0 + random.below(16)]),
  ];
  return random.pick(ways)();
}

function drawnScan(random) {
  const names = ["software", "cvn", "count", "board", "vin"].filter(() => random.below(6) === 0);
  return names.map((name) => ({ name, value: random.pick(SCAN_VALUES) }));
}

test("drawn read-backs are judged alike", async () => {
  const random = seededRandom("confirm");
  console.log(`# CALSEAL_SEED=${random.seed}, ${CASES} cases`);
  const { erase_sectors: _, ...plainMap } = walnutMap();
  const revisions = [written, walnut({ kind: "full" }), walnut({ revision: 0 }), walnut({ map: plainMap }), walnut({ edits: [[0x29, 0x1b], [0x2a, 0x1c], [0x41, 4]] })];
  const answers = new Map();
  for (let i = 0; i < CASES; ++i) {
    const revision = random.pick(revisions);
    const before = [null, revision.base, revision.base, drawnImage(random, revision)][random.below(4)];
    const salt = random.below(3) === 0 ? null : SALT;
    const told = await askBoth(revision, { after: drawnImage(random, revision), before, salt, scan: drawnScan(random) });
    answers.set(told.reason || told.grade, (answers.get(told.reason || told.grade) ?? 0) + 1);
  }
  console.log(`# ${[...answers].sort((a, b) => b[1] - a[1]).map(([name, count]) => `${name} ${count}`).join(", ")}`);
  assert.ok(answers.size >= 8, `${answers.size} answers`);
});
