// What is said about a read that does not fit: what it most likely is, and what to do now. The reason stays what it was.
import assert from "node:assert/strict";
import { test } from "node:test";

import "./platform.mjs";
import { checkBundle } from "../../src/page/check.js";
import { bundle, keyOf, listEntries, takeApart } from "./forge.mjs";
import { readFixture } from "./support.mjs";

const fixture = (name) => new Uint8Array(readFixture("bundles", name));
const named = (name) => ({ name, bytes: fixture(name) });

async function refused(code, reads, more = {}) {
  const verdict = await checkBundle({
    bundle: named("small-revision.calseal"), trust: named("shop.trust"), now: "2026-03-04T05:06:07Z",
    reads: Object.entries(reads).map(([memory, bytes]) => ({ memory, name: `${memory}.bin`, bytes })),
    evidence: { readIsFresh: true, salt: null, vehicleReference: "blue estate" }, ...more,
  });
  assert.equal(verdict.outcome, "refused");
  assert.equal(verdict.reason.code, code, JSON.stringify(verdict.reason));
  return verdict.reason;
}

const flash = fixture("base-flash.bin");
const eeprom = fixture("base-eeprom.bin");

// The locked spans of the flash as the manifest has them.
const { manifest } = takeApart(fixture("small-revision.calseal"));
const locked = manifest.controllers[0].spans.filter(({ memory, kind, after }) => memory === "flash" && kind === "locked" && after !== "");
const origin = Number(manifest.controllers[0].memories.find(({ name }) => name === "flash").origin);

function withBytes(bytes, spans, value) {
  const changed = bytes.slice();
  for (const { start, size } of spans) changed.fill(value, Number(start) - origin, Number(start) - origin + size);
  return changed;
}

test("one locked byte differs", async () => {
  const changed = flash.slice();
  // The last locked span: neither recognition nor identity lies there.
  changed[Number(locked.at(-1).start) - origin] ^= 1;
  const reason = await refused("read-foreign", { flash: changed, eeprom });
  assert.match(reason.found, /^the same software, but 1 of \d+ locked spans differ, in /);
  assert.match(reason.found, /its calibration is that of the base$/);
  assert.match(reason.next, /read again/);
});

test("erased places", async () => {
  const reason = await refused("read-foreign", { flash: withBytes(flash, locked, 0xff), eeprom });
  assert.match(reason.found, /^erased bytes where software should be/);
});

test("another family", async () => {
  const reason = await refused("read-foreign", { flash: withBytes(flash, locked, 0x5a), eeprom });
  assert.match(reason.found, /^not recognised as small/);
});

test("a memory that was not given", async () => {
  const reason = await refused("read-incomplete", { flash });
  assert.match(reason.found, /it has [\d,]+ of [\d,]+ bytes that are needed; nothing of memory eeprom$/);
});

test("memories that are swapped", async () => {
  const reason = await refused("image-size", { flash: eeprom, eeprom: flash });
  assert.match(reason.found, /as many as memory (flash|eeprom) has$/);
  assert.match(reason.expected, /for controller engine \(region map small version \d+\)$/);
});

test("a file that is cut short", async () => {
  const reason = await refused("image-size", { flash: flash.subarray(0, 100), eeprom });
  assert.match(reason.next, /cut short/);
});

test("the read of another base", async () => {
  const tiny = takeApart(fixture("tiny-revision.calseal"));
  const read = fixture("tiny.bin");
  read[0] ^= 1;
  // The first span is locked; in the other base it has the bytes of this read.
  const digest = Buffer.from(await crypto.subtle.digest("SHA-256", read.subarray(0, 16))).toString("hex");
  const [controller] = tiny.manifest.controllers;
  const spans = controller.spans.map((span, i) => (i === 0 ? { ...span, before: digest, after: digest } : span));
  const pinned = {};
  for (const side of ["before", "after"]) {
    const lines = spans.map((span) => `${span.memory} ${span.start} ${span.size} ${span[side]}\n`).join("");
    pinned[side] = Buffer.from(await crypto.subtle.digest("SHA-256", Buffer.from(lines))).toString("hex");
  }
  const other = { ...tiny.manifest, base: { number: 2, reason: "update" }, sequence: 9, controllers: [{ ...controller, spans, pinned }], entries: listEntries(tiny.contents) };
  const newest = { name: "newest.calseal", bytes: new Uint8Array(bundle(other, tiny.contents, [keyOf(2)])) };
  // Asked without an order, since a bundle of an old base is refused before any read is looked at.
  const first = await refused("base-old", { flash: read }, { bundle: named("tiny-revision.calseal"), newest });
  assert.match(first.expected, /base 2/);
  const later = await refused("read-foreign", { flash: fixture("tiny.bin") }, { bundle: newest, newest: named("tiny-revision.calseal") });
  assert.match(later.found, /^the software of base 1 of this job; /);
  assert.match(later.next, /from before the controller's update/);
});
