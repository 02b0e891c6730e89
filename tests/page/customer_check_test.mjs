// The customer file in checks, by the page and by `calseal-check --customer`: the whole file afterwards and the receipt, byte for byte.
// The time is that of the program's receipt. docs/parcel.md, "In checks".
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { test } from "node:test";

import { clock } from "./answers.mjs";
import { CHECKER, layOut } from "./both.mjs";
import { checkBundle } from "../../src/page/check.js";
import { newCustomer, readCustomerFile, writeCustomerFile } from "../../src/page/customer_file.js";
import { customerAfterCheck, fillFromCustomer } from "../../src/page/customer_in_check.js";
import { allSituations } from "./scenarios.mjs";

const folder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-customer-"));
process.on("exit", () => fs.rmSync(folder, { recursive: true, force: true }));
const situations = allSituations();
const named = (name) => situations.find((one) => one.name === name);
const hex = (i) => i.toString(16).padStart(64, "0");
const text = (bytes) => new TextDecoder().decode(bytes);

// What calseal-check leaves: {file, receipt, verdict}; "" where it writes no receipt.
function byProgram(laid, customer) {
  const [file, receipt] = ["me.customer", "the.receipt"].map((name) => path.join(folder, name));
  fs.rmSync(receipt, { force: true });
  fs.writeFileSync(file, customer);
  const run = spawnSync(CHECKER, [...laid.options, "--customer", file, "--receipt", receipt, "--receipt-code", "--json"], { encoding: "utf8", maxBuffer: 2 ** 26 });
  assert.equal(run.signal, null, run.stderr);
  const { verdict, reason, receipt: said } = JSON.parse(run.stdout);
  return { file: fs.readFileSync(file, "utf8"), receipt: fs.existsSync(receipt) ? fs.readFileSync(receipt, "utf8") : "", verdict, reason, code: said?.code ?? "" };
}

async function byPage({ request }, customer, now) {
  const filled = { ...await fillFromCustomer(request, { name: "me.customer", customer }), now };
  const verdict = await checkBundle(filled);
  const written = verdict.outcome === "accepted" && request.reads.length > 0;  // both.mjs asks for an image of each read
  return { verdict, ...await customerAfterCheck(customer, verdict, { request: filled, own: request.state === null, written }) };
}

// Gives what the page made of it, and what it was.
async function compared(situation, change = {}) {
  const customer = { ...newCustomer(), number: 7, ...change };
  const laid = layOut(situation);
  const program = byProgram(laid, await writeCustomerFile(customer));
  const now = program.receipt === "" ? clock() : JSON.parse(program.receipt.split("\n")[0]).claimed_time;
  const page = await byPage(laid, customer, now);
  assert.equal(page.verdict.outcome, program.verdict ?? "refused", situation.name);
  assert.equal(page.receipt, program.receipt, situation.name);
  assert.equal(page.verdict.receiptCode, program.code, situation.name);
  assert.equal(page.text, program.file, situation.name);
  assert.deepEqual(page.customer, await readCustomerFile(new TextEncoder().encode(page.text), "it"), situation.name);
  return { ...page, reason: program.reason };
}

const jobOf = ({ files }) => files.bundle.manifest.job;
const saltOf = ({ files }) => text(files.salt.bytes).trim();
const without = (situation, ...roles) => ({ ...situation, files: { ...situation.files, ...Object.fromEntries(roles.map((role) => [role, null])) } });
const withFile = (situation, role, bytes) => ({ ...situation, files: { ...situation.files, [role]: { bytes: Buffer.from(bytes) } } });

function turnedRead(situation) {
  const reads = situation.files.reads.map((one) => ({ ...one, bytes: Buffer.from(one.bytes).map((byte) => byte ^ 0xff) }));
  return { ...situation, name: `${situation.name}, another read`, files: { ...situation.files, reads } };
}

// What is in the files of a situation is given by the customer file instead.
function moved(situation) {
  const { salt, state } = situation.files;
  const salts = salt === null ? [] : [{ job: jobOf(situation), salt: saltOf(situation) }];
  return [without(situation, "salt", "state"), { salts, state: state === null ? "" : text(state.bytes) }];
}

test("beside the files of every sound situation, and in their place", async () => {
  const seen = new Map();
  const note = (kind) => seen.set(kind, (seen.get(kind) ?? 0) + 1);
  for (const situation of situations) {
    for (const [one, customer] of [[situation, {}], moved(situation), [turnedRead(situation), {}], [{ ...situation, flags: { ...situation.flags, sealOnly: true } }, {}]]) {
      const { verdict, receipt, saltKept } = await compared(one, customer);
      note(`${verdict.outcome}${receipt === "" ? "" : ", receipt"}`);
      if (verdict.receiptCode !== "") note(`${verdict.outcome}, code`);
      if (saltKept) note("salt");
      if (verdict.vehicle === "proved" && one.files.salt === null) note("proved by a salt that was kept");
    }
  }
  console.log(`# ${[...seen].map((one) => one.join(" ")).join("; ")}`);
  for (const kind of ["accepted, receipt", "refused, receipt", "refused", "authentic, receipt", "accepted, code", "authentic, code", "salt", "proved by a salt that was kept"]) assert.ok(seen.get(kind) >= 3, kind);
});

const SOUND = situations.find((one) => one.files.salt !== null && one.files.state === null && one.files.reads.length > 0 && one.files.bundle.manifest.salt_digest !== "");

test("a salt is kept where the manifest names it, and one of many jobs more is not", async () => {
  const job = jobOf(SOUND);
  const many = (count) => Array.from({ length: count }, (_, i) => ({ job: `a-${String(i).padStart(3, "0")}`, salt: hex(i) }));
  const kept = await compared(SOUND, { salts: many(255) });
  assert.deepEqual([kept.saltKept, kept.saltLeftOut, kept.customer.salts.length], [true, false, 256]);
  const full = await compared(SOUND, { salts: many(256) });
  assert.deepEqual([full.saltKept, full.saltLeftOut, full.customer.salts.length], [false, true, 256]);
  const replaced = await compared(SOUND, { salts: [{ job, salt: hex(1) }, { job: "zz", salt: hex(2) }] });
  assert.deepEqual([replaced.saltKept, replaced.customer.salts[0]], [true, { job, salt: saltOf(SOUND) }]);
  const known = await compared(SOUND, { salts: [{ job, salt: saltOf(SOUND) }] });
  assert.equal(known.saltKept, false);
  for (const wrong of [withFile(SOUND, "salt", `${hex(5)}\n`), withFile(SOUND, "salt", "none")]) {
    const refused = await compared(wrong, {});
    assert.deepEqual([refused.reason, refused.customer.salts], ["salt-wrong", []]);
  }
  const ownWrong = await compared(without(SOUND, "salt"), { salts: [{ job, salt: hex(9) }] });
  assert.deepEqual([ownWrong.reason, ownWrong.customer.salts], ["salt-wrong", [{ job, salt: hex(9) }]]);
});

test("of receipts the oldest go", async () => {
  const receipts = Array.from({ length: 1000 }, (_, i) => `receipt ${i}`);
  const { customer, receipt } = await compared(SOUND, { receipts });
  assert.deepEqual([customer.receipts.length, customer.receipts[0], customer.receipts.at(-1)], [1000, "receipt 1", receipt]);
});

test("a state that is damaged counts for nothing and stays, one that was given stays out", async () => {
  const damaged = await compared(SOUND, { state: "no state" });
  assert.ok(damaged.verdict.cautions.some(({ code }) => code === "state-damaged"));
  assert.equal(damaged.customer.state, "no state");
  const given = situations.find((one) => one.files.state !== null && one.files.state.bytes.length > 0);
  assert.equal((await compared(given, { state: "" })).customer.state, "");
  assert.notEqual((await compared(SOUND)).customer.state, "");
});

test("before the contents nobody knows whose bundle it is", async () => {
  const broken = { ...SOUND.files.bundle, bytes: Buffer.from(SOUND.files.bundle.bytes) };
  broken.bytes[broken.bytes.length >> 1] ^= 1;
  for (const bundle of [broken, { ...broken, bytes: Buffer.from("PK\u0003\u0004 nothing") }]) {
    const { receipt, customer } = await compared({ ...SOUND, files: { ...SOUND.files, bundle } });
    assert.deepEqual([receipt, customer.salts, customer.receipts], ["", [], []]);
  }
});

test("a customer file that would be too large is not written, and the receipt stands", async () => {
  const customer = { ...newCustomer(), receipts: Array.from({ length: 1000 }, () => "\u0001".repeat(4000)) };
  const { fault, receipt, keepsState } = await byPage(layOut(SOUND), customer, clock());
  assert.deepEqual([fault?.code, keepsState, receipt === ""], ["file-too-large", false, false]);
});
