// docs/proof.md, field by field: a bundle in which one thing is a lie is refused for the reason that the text gives, and its honest
// twin is accepted. Bundles are written by small_shop.mjs, which shares no code with the page.
import assert from "node:assert/strict";
import { test } from "node:test";

import "./platform.mjs";
import { checkBundle } from "../../src/page/check.js";
import { proveConfinement } from "../../src/page/confinement.js";
import { copyImage } from "../../src/page/image.js";
import { writeIntelHex } from "../../src/page/intel_hex.js";
import { makePlan } from "../../src/page/plan.js";
import { loadRead } from "../../src/page/read.js";
import { readRegionMap } from "../../src/page/region_map.js";
import { sha256Hex } from "./forge.mjs";
import { trustPart } from "./scenarios.mjs";
import { addressText, correct, describeRevision, repin, sealRevision } from "./small_shop.mjs";
import { EDIT, FLASH, ORDERED, readsOf, SALT, walnut, walnutMap } from "./walnut.mjs";

const TRUST = new Uint8Array(trustPart().bytes);
const NV = 256; // flat address of the second memory
const at = (offset) => addressText(FLASH + offset);
const sha = (bytes) => sha256Hex(Uint8Array.from(bytes));

function ask({ manifest, contents }, { reads, fresh = true, salt = SALT, vehicle = "", revive = false }) {
  return checkBundle({
    bundle: { name: "walnut.calseal", bytes: new Uint8Array(sealRevision({ manifest, contents })) }, trust: { name: "shop.trust", bytes: TRUST },
    reads, revive, evidence: { readIsFresh: fresh, salt: salt === null ? null : new Uint8Array(salt), vehicleReference: vehicle }, now: "2026-03-05T00:00:00Z",
  });
}

const told = (verdict) => verdict.reason?.code ?? verdict.outcome;

function requestFor(written, more = {}) {
  return { reads: more.revive ? [] : readsOf(written.shape, written.base), ...more };
}

// Contents of an entry as JSON, changed in place.
function inEntry(parts, name, change) {
  const entry = parts.contents.find((one) => one.name === name);
  const value = JSON.parse(entry.content.toString());
  change(value);
  entry.content = Buffer.from(JSON.stringify(value));
}

const inMap = (change) => (parts) => {
  inEntry(parts, "regions/engine.json", change);
  parts.c.region_map.digest = sha256Hex(parts.contents[0].content);
};
const inChanges = (change) => (parts) => inEntry(parts, "changes.json", ({ changes }) => change(changes));
const spanAt = (c, start, memory = "flash") => c.spans.find((span) => span.memory === memory && span.start === start);
const inSpan = (offset, change) => ({ c, manifest }) => {
  change(spanAt(c, at(offset)), c);
  repin(manifest);
};
const inPayload = (change) => ({ contents }) => change(contents.find(({ name }) => name === "payload/engine/flash.bin").content);
// Where a flat address stands in the payload's content for the flash.
const carriedAt = (c, offset) => {
  let before = 0;
  for (const { start, size } of c.payload.parts[0].ranges) {
    const from = Number(start) - FLASH;
    if (offset >= from && offset < from + size) return before + offset - from;
    before += size;
  }
  throw new Error(`the payload carries no byte at ${offset}`);
};
const inRead = (memory, change) => ({ request }) => change(request.reads.find((file) => file.memory === memory).bytes);

// One row: what, how the honest bundle is made, the lie, the reason, how both are asked for. The lie is found in the step of this name.
async function holdRows(t, step, rows) {
  for (const [what, make, lie, expected, asked = {}] of rows) {
    await t.test(what, async () => {
      const written = walnut(make);
      const honest = await ask(written, requestFor(written, asked));
      assert.equal(told(honest), "accepted", `the honest twin: ${JSON.stringify(honest.reason)}`);
      const parts = { manifest: structuredClone(written.manifest), contents: written.contents.map((one) => ({ ...one, content: Buffer.from(one.content) })),
        request: requestFor(written, asked), written };
      [parts.c] = parts.manifest.controllers;
      await lie(parts);
      const verdict = await ask(parts, parts.request);
      assert.equal(told(verdict), expected, JSON.stringify(verdict.reason));
      assert.equal(verdict.steps.find(({ state }) => state === "failed").name, step);
      assert.deepEqual(verdict.files, []);
    });
  }
}

const PATCHED = [...EDIT, [0x29, 0x1b], [0x2a, 0x1c], [0x2b, 2]]; // both patches that touch, laid whole
const ONLY_FLASH = { known: (flat) => flat < NV, salt: null };
const BY_WORD = { salt: null, vehicle: "blue estate" };
const FIRST = { revision: 0 };
const REVIVE = { revive: true, vehicle: "blue estate" };

test("fields that are gone or new", (t) => holdRows(t, "manifest", [
  ["items", {}, ({ manifest }) => (manifest.items = []), "json-unknown-key"],
  ["a kind of an identity field", {}, ({ c }) => (c.identity[0].kind = "software-number"), "json-unknown-key"],
  ["a patch without its base", {}, ({ c }) => delete c.patches[0].base, "json-missing-key"],
  ["a patch that is neither", {}, ({ c }) => (c.patches[0].result = "broken"), "json-value"],
  ["a checksum's value before", {}, ({ c }) => (c.checksums[0].before = ""), "json-unknown-key"],
  ["a state that there is not", {}, ({ c }) => (c.checksums[0].state = "unknown"), "json-value"],
]));

test("what must fit together", (t) => holdRows(t, "manifest", [
  ["locked bytes that differ though no patch does", {}, inSpan(0xaa, (span) => (span.before = "11".repeat(32))), "manifest-invalid"],
  ["a value that is not provable", ONLY_FLASH, ({ c }) => (c.checksums.find(({ name }) => name === "plate").value = "00"), "manifest-invalid", BY_WORD],
  ["a file where a byte is not pinned", {}, ({ c }) => (c.files = [{ memory: "flash", form: "raw", size: 256, digest: "11".repeat(32) }]), "manifest-invalid"],
  ["a patch that changes in revision 0", FIRST, ({ c }) => (c.patches[0].result = "after"), "manifest-invalid"],
  ["a span that changes in revision 0", FIRST, inSpan(0x40, (span) => (span.after = "11".repeat(32))), "manifest-invalid"],
  ["a pinned digest", {}, ({ c }) => (c.pinned.after = "11".repeat(32)), "manifest-invalid"],
]));

const inOrder = (change) => ({ manifest }) => change(manifest.ordered, manifest);
const ORDERED_AT = "2026-02-28T23:59:59Z";
const eachOf = (count) => Array.from({ length: count }, (_, i) => ({ name: `n${String(i).padStart(3, "0")}`, title: "", why: "later" }));

test("what was ordered: its fields", (t) => holdRows(t, "manifest", [
  ["none", ORDERED, ({ manifest }) => delete manifest.ordered, "json-missing-key"],
  ["in another place", ORDERED, ({ manifest }) => {
    const { ordered } = manifest;
    delete manifest.ordered;
    manifest.ordered = ordered;
  }, "json-not-canonical"],
  ["a list", ORDERED, ({ manifest }) => (manifest.ordered = []), "json-type"],
  ...["time", "parcel", "options"].map((key) => [`no ${key}`, ORDERED, inOrder((ordered) => delete ordered[key]), "json-missing-key"]),
  ...["time", "parcel", "options"].map((key) => [`a number as ${key}`, ORDERED, inOrder((ordered) => (ordered[key] = 1)), "json-type"]),
  ...["name", "title", "why"].map((key) => [`an option without ${key}`, ORDERED, inOrder(({ options }) => delete options[1][key]), "json-missing-key"]),
  ...["name", "title", "why"].map((key) => [`a truth as ${key}`, ORDERED, inOrder(({ options }) => (options[1][key] = true)), "json-type"]),
  ["a key too many", ORDERED, inOrder((ordered) => (ordered.by = "")), "json-unknown-key"],
  ["an option's key too many", ORDERED, inOrder(({ options }) => (options[1].digest = "11".repeat(32))), "json-unknown-key"],
  ["a time that does not exist", ORDERED, inOrder((ordered) => (ordered.time = "2026-02-29T00:00:00Z")), "json-value"],
  ["a digest that is too short", ORDERED, inOrder((ordered) => (ordered.parcel = "ab".repeat(31))), "json-value"],
  ["an option without a name", ORDERED, inOrder(({ options }) => (options[0].name = "")), "json-value"],
  ["a reason of two lines", ORDERED, inOrder(({ options }) => (options[1].why = "a\nb")), "json-value"],
  ["a reason of 201 bytes", ORDERED, inOrder(({ options }) => (options[1].why = "x".repeat(201))), "json-value"],
  ["257 options", ORDERED, inOrder((ordered) => (ordered.options = eachOf(257))), "json-value"],
]));

test("what was ordered: what must fit together", (t) => holdRows(t, "manifest", [
  ["an order in revision 0", FIRST, inOrder((ordered) => (ordered.time = ORDERED_AT)), "manifest-invalid"],
  ["a parcel and no time", {}, inOrder((ordered) => (ordered.parcel = "ab".repeat(32))), "manifest-invalid"],
  ["options and no time", ORDERED, inOrder((ordered) => Object.assign(ordered, { time: "", parcel: "" })), "manifest-invalid"],
  ["not in the revision, and nobody says why", ORDERED, inOrder(({ options }) => (options[1].why = "")), "manifest-invalid"],
  ["in the revision, and a reason why not", ORDERED, inOrder(({ options }) => (options[0].why = "later")), "manifest-invalid"],
  ["an option that left the revision", ORDERED, inOrder((_, manifest) => manifest.options.shift()), "manifest-invalid"],
  ["an option that came into the revision", ORDERED, inOrder((_, manifest) => manifest.options.push({ name: "economy", title: "Economy", digest: "11".repeat(32) })), "manifest-invalid"],
  ["another title", ORDERED, inOrder(({ options }) => (options[2].title = "Launch")), "manifest-invalid"],
  ["no title", ORDERED, inOrder(({ options }) => (options[2].title = "")), "manifest-invalid"],
  ["not ascending", ORDERED, inOrder(({ options }) => options.reverse()), "manifest-invalid"],
  ["one name twice", ORDERED, inOrder(({ options }) => options.splice(1, 0, options[1])), "manifest-invalid"],
]));

test("what was ordered: the shop's word", async () => {
  const says = async (change, make = ORDERED) => {
    const written = walnut(make);
    change(written.manifest.ordered);
    return told(await ask(written, requestFor(written)));
  };
  assert.equal(await says(() => {}), "accepted");
  assert.equal(await says((ordered) => (ordered.parcel = "")), "accepted");
  assert.equal(await says((ordered) => (ordered.options = [])), "accepted");
  assert.equal(await says((ordered) => (ordered.options = eachOf(256))), "accepted");
  assert.equal(await says((ordered) => (ordered.options[1].title = "Quiet start")), "accepted", "no title of what is not in the revision is compared");
  assert.equal(await says((ordered) => (ordered.time = "9999-12-31T23:59:59Z")), "accepted", "no time is compared");
});

test("contents: the region map", (t) => holdRows(t, "contents", [
  ["its controller", {}, inMap((map) => (map.controller = "gearbox")), "claim-mismatch"],
  ["its name", {}, ({ c }) => (c.region_map.name = "hazel"), "claim-mismatch"],
  ["its version", {}, ({ c }) => (c.region_map.version = 4), "claim-mismatch"],
  ["its grade", {}, ({ c }) => (c.region_map.grade = "verified"), "claim-mismatch"],
  ["a memory's place", {}, inMap((map) => (map.memories[1].origin = "0x00000000", map.memories[1].size = 128)), "claim-mismatch"],
  ["an identity field too many", {}, ({ c }) => c.identity.push({ name: "more", text: "" }), "claim-mismatch"],
  ["an identity field too few", {}, ({ c }) => c.identity.pop(), "claim-mismatch"],
  ["identity fields in another order", {}, ({ c }) => c.identity.reverse(), "claim-mismatch"],
  ["a binding field among them", {}, ({ c }) => c.identity.push({ name: "vin", text: "WAL00000000000042" }), "claim-mismatch"],
  ["a binding field's name", {}, ({ c }) => (c.binding[0].name = "plate"), "claim-mismatch"],
  ["a binding field's place", {}, ({ c, manifest }) => {
    Object.assign(spanAt(c, "0x00000000", "nv"), { size: 16 });
    c.spans.splice(c.spans.indexOf(spanAt(c, "0x00000000", "nv")) + 1, 1, { memory: "nv", start: "0x00000010", size: 16, kind: "volatile", before: "", after: "" });
    c.binding[0].size = 16;
    repin(manifest);
  }, "claim-mismatch"],
  ["a patch's name", {}, ({ c }) => (c.patches[0].name = "wink"), "claim-mismatch"],
  ["patches in another order", {}, ({ c }) => c.patches.reverse(), "claim-mismatch"],
  ["a patch too few", {}, ({ c }) => c.patches.pop(), "claim-mismatch"],
  ["a vin that does not bind", {}, inMap((map) => delete map.identity.at(-1).binds), "map-policy"],
  ["a serial that does not bind", {}, inMap((map) => (map.identity.find(({ name }) => name === "board").kind = "serial")), "map-policy"],
]));

// The second memory has editable bytes too.
function twoTuned() {
  const map = walnutMap();
  map.regions.push({ name: "trim", memory: "nv", start: "0x00000038", size: 4, policy: "editable" });
  return map;
}

test("contents: changes.json", (t) => holdRows(t, "contents", [
  ["a memory that the map has not", {}, inChanges((changes) => (changes[0].memory = "other")), "claim-mismatch"],
  ["a range in a span that is the same", {}, inChanges((changes) => changes.unshift({ ...changes[0], start: at(0x20), region: "" })), "claim-mismatch"],
  ["a range in a span that is not pinned", {}, inChanges((changes) => changes.push({ ...changes[0], start: at(0xc0), region: "learned" })), "claim-mismatch"],
  ["a range over two spans", {}, inChanges((changes) => (changes.find(({ start }) => start === at(0x58)).size = 9)), "claim-mismatch"],
  ["a range outside the memory", {}, inChanges((changes) => (changes.at(-1).start = at(0x1000))), "claim-mismatch"],
  ["ranges that touch", {}, inChanges((changes) => {
    const i = changes.findIndex(({ size }) => size > 1);
    changes.splice(i, 1, { ...changes[i], size: 1 }, { ...changes[i], start: addressText(Number(changes[i].start) + 1), size: changes[i].size - 1 });
  }), "claim-mismatch"],
  ["memories in another order", { map: twoTuned(), edits: [...EDIT, [NV + 0x38, 1]] }, inChanges((changes) => changes.unshift(changes.pop())), "claim-mismatch"],
  ["another region", {}, inChanges((changes) => (changes[0].region = "cell[0]")), "claim-mismatch"],
  ["a region where there is none", {}, inChanges((changes) => (changes.find(({ region }) => region === "").region = "fuel")), "claim-mismatch"],
  ["an option that the manifest has not", {}, inChanges((changes) => (changes[0].option = "spark")), "claim-mismatch"],
  ["a span without its change", {}, inChanges((changes) => changes.splice(changes.findIndex(({ region }) => region === "cell[1]"), 1)), "claim-mismatch"],
  ["a change in revision 0", FIRST, inChanges((changes) => changes.push({ memory: "flash", start: at(0x40), size: 1, region: "fuel", option: "" })), "claim-mismatch"],
  ["a patch without its change", { edits: PATCHED }, inChanges((changes) => changes.shift()), "claim-mismatch"],
  ["a patch with a change too long", { edits: PATCHED }, inChanges((changes) => (changes[0].start = at(0x28), changes[0].size += 1)), "claim-mismatch"],
  ["another span's digest before", { edits: PATCHED }, inSpan(0xaa, (span) => (span.before = "11".repeat(32))), "claim-mismatch"],
  ["how a patch stood in the base", {}, (parts) => {
    parts.c.patches[1].base = "after";
    const flipped = parts.written.base.slice(0, 0x40);
    flipped[0x2b] = 2;
    spanAt(parts.c, at(0)).before = sha(flipped);
    repin(parts.manifest);
  }, "claim-mismatch"],
  ["two patches that touch as two changes", { edits: PATCHED }, inChanges((changes) => changes.splice(0, 1, { ...changes[0], size: 2 }, { ...changes[0], start: at(0x2b), size: 1 })), "claim-mismatch"],
]));

test("changes.json of an option, and of patches that touch, is accepted", async () => {
  const options = [{ name: "spark", title: "", digest: "11".repeat(32) }];
  const written = walnut({ edits: PATCHED, options });
  inEntry(written, "changes.json", ({ changes }) => {
    assert.deepEqual(changes[0], { memory: "flash", start: at(0x29), size: 3, region: "", option: "" });
    for (const change of changes) change.option = "spark";
  });
  assert.equal(told(await ask(written, requestFor(written))), "accepted");
});

test("contents: files of revision 0", (t) => holdRows(t, "contents", [
  ["a digest", FIRST, ({ c }) => (c.files[0].digest = "11".repeat(32)), "claim-mismatch"],
  ["a size", FIRST, ({ c }) => (c.files[1].size = 65), "claim-mismatch"],
]));

test("a file in another form is the shop's word", async () => {
  const written = walnut(FIRST);
  written.manifest.controllers[0].files[0] = { memory: "flash", form: "intel-hex", size: 900, digest: "11".repeat(32) };
  assert.equal(told(await ask(written, requestFor(written))), "accepted");
});

test("match", (t) => holdRows(t, "match", [
  ["a locked byte", {}, inRead("flash", (bytes) => (bytes[0x3c] ^= 1)), "read-foreign"],
  ["a span's digest after", {}, ({ c, manifest }) => {
    Object.assign(spanAt(c, at(0)), { before: "11".repeat(32), after: "11".repeat(32) });
    repin(manifest);
  }, "read-foreign"],
  ["a patch that is broken", {}, inRead("flash", (bytes) => (bytes[0x29] = 0x77)), "change-patch"],
  ["a patch that is half laid", {}, inRead("flash", (bytes) => (bytes[0x29] = 0x1b)), "change-patch"],
  ["a memory that is missing", {}, ({ request }) => request.reads.pop(), "read-incomplete"],
  ["another vehicle", {}, inRead("nv", (bytes) => (bytes[16] ^= 1)), "vehicle-mismatch"],
  ["another salt", {}, ({ request }) => (request.salt = Buffer.alloc(32, 8)), "salt-wrong"],
  ["no salt", {}, ({ request }) => (request.salt = null), "vehicle-not-provable"],
  ["another vehicle reference", {}, ({ request }) => (request.vehicle = "red van"), "vehicle-reference"],
  ["a salt where the manifest has none", { salt: null }, ({ request }) => Object.assign(request, { vehicle: "", salt: SALT }), "vehicle-not-provable", { vehicle: "blue estate" }],
  ["a blank field", { salt: null }, ({ request }) => (request.vehicle = ""), "vehicle-not-provable", BY_WORD],
]));

// A read of which some bytes are unknown, as records.
async function askPartly(written, image, knows, more = {}) {
  const reads = written.shape.memories.map(({ name, flat, size, origin }) => {
    const segments = [];
    for (let i = 0; i < size; ++i) if (knows(flat + i)) segments.push({ address: origin + i, bytes: Uint8Array.of(image[flat + i]) });
    return { memory: name, name: `${name}.hex`, bytes: new TextEncoder().encode(writeIntelHex(segments)) };
  });
  return told(await ask(written, { reads, ...more }));
}

test("what a read must hold", async () => {
  const written = walnut();
  const { base } = written;
  assert.equal(await askPartly(written, base, () => true), "accepted");
  const without = (flat) => (one) => one !== flat;
  assert.equal(await askPartly(written, base, without(0x22)), "read-incomplete", "locked");
  assert.equal(await askPartly(written, base, without(0x44)), "read-incomplete", "editable");
  assert.equal(await askPartly(written, base, without(0x90)), "read-incomplete", "derived");
  assert.equal(await askPartly(written, base, without(NV + 4)), "read-incomplete", "binding");
  assert.equal(await askPartly(written, base, without(0x94)), "read-incomplete", "floating, in a sector to be written");
  assert.equal(await askPartly(written, base, without(NV + 0x21)), "accepted", "volatile, in no such sector");
  const bare = walnutMap();
  delete bare.erase_sectors;
  const loose = walnut({ map: bare });
  assert.equal(await askPartly(loose, loose.base, without(0xc3)), "checksum-not-provable", "what a floating checksum reads");
  assert.equal(await askPartly(loose, loose.base, without(0x94)), "checksum-not-provable", "what a floating checksum owns");
});

test("a base that was read in part", async () => {
  // The first byte of the patch and the software number are unknown to the base; of what it knows everything must be there.
  const known = (flat) => flat < NV && flat !== 0x28 && !(flat >= 0x10 && flat < 0x14);
  const written = walnut({ known, salt: null, edits: [...EDIT, [0x29, 0x1b], [0x2a, 0x1c]] });
  const [claims] = written.manifest.controllers;
  assert.deepEqual(claims.patches[0], { name: "blink", base: "before", result: "after" });
  assert.equal(claims.identity[0].text, "");
  const partly = { ...BY_WORD, fresh: true };
  assert.equal(await askPartly(written, written.base, known, partly), "accepted");
  assert.equal(await askPartly(written, written.base, () => true, partly), "accepted", "a read that knows more");
  const other = [...written.base];
  other[0x10] = 0x58;
  assert.equal(await askPartly(written, other, known, partly), "accepted", "what nobody knows");
  assert.equal(await askPartly(written, other, () => true, partly), "family-mismatch", "another number, where the read knows it");
  other[0x10] = written.base[0x10];
  other[0x28] = 0x0b;
  assert.equal(await askPartly(written, other, () => true, partly), "change-patch", "a byte of the patch that the base did not know");
});

test("the family is that of the read and of the result", async () => {
  // Where the recognition rule's bytes are editable the read may differ from the base.
  const map = walnutMap();
  map.recognise = { software_numbers: ["W100", "W101"], all: [{ memory: "flash", at: at(0x40), bytes: "c8" }] };
  const written = walnut({ map });
  assert.equal(told(await ask(written, requestFor(written))), "accepted");
  const other = requestFor(written);
  other.reads[0].bytes[0x40] = 1;
  assert.equal(told(await ask(written, other)), "family-mismatch");
  const lost = walnut({ map, edits: [...EDIT, [0x40, 1]] });
  const verdict = await ask(lost, requestFor(lost));
  assert.equal(told(verdict), "family-mismatch");
  assert.deepEqual(verdict.steps.slice(-2).map(({ state }) => state), ["passed", "failed"], "the result, in the last step");
  const update = { edits: [...EDIT, [0x13, 0x31]] };
  const updated = walnut(update);
  assert.equal(told(await ask(updated, requestFor(updated))), "accepted", "a patch to another number of the family");
  const narrow = walnutMap();
  narrow.recognise.software_numbers = ["W100"];
  const strange = walnut({ map: narrow, ...update });
  assert.equal(told(await ask(strange, requestFor(strange))), "family-mismatch");
  const unread = walnut({ known: (flat) => flat < NV && flat >= 0x14, salt: null });
  assert.equal(await askPartly(unread, unread.base, () => true, BY_WORD), "accepted", "by bytes that the base did not know, in read and result");
  assert.equal(await askPartly(unread, unread.base, (flat) => flat >= 0x14, BY_WORD), "family-mismatch", "by no byte at all");
  const unruly = walnutMap();
  delete unruly.recognise;
  const free = walnut({ map: unruly });
  assert.equal(told(await ask(free, requestFor(free))), "accepted", "a map without a rule");
});

test("the active bank is that of the read and of the result", async () => {
  const map = walnutMap();
  map.copies[0].active_bank = { memory: "flash", at: at(0xc4), equals: "5a" };
  const { shape, base } = walnut({ map });
  const active = [...base];
  active[0xc4] = 0x5a;
  const written = walnut({ map, base: correct(shape, active) });
  assert.equal(told(await ask(written, requestFor(written))), "accepted");
  assert.equal(told(await ask(written, { reads: readsOf(shape, base) })), "bank-not-active", "a read from the other bank");
  assert.equal(await askPartly(written, written.base, (flat) => flat !== 0xc4), "bank-not-active", "a bank that nobody knows");
  const patched = walnutMap();
  patched.copies[0].active_bank = { memory: "flash", at: at(0x2b), equals: "01" };
  const stays = walnut({ map: patched });
  assert.equal(told(await ask(stays, requestFor(stays))), "accepted");
  const leaves = walnut({ map: patched, edits: PATCHED });
  const verdict = await ask(leaves, requestFor(leaves));
  assert.equal(told(verdict), "bank-not-active");
  assert.deepEqual(verdict.steps.slice(-2).map(({ state }) => state), ["passed", "failed"], "the result, in the last step");
});

test("claims", (t) => holdRows(t, "claims", [
  ["a span cut in two", {}, ({ c, manifest, written: { base, result } }) => {
    const i = c.spans.indexOf(spanAt(c, at(0x40)));
    const half = (start, size) => ({ ...c.spans[i], start: at(start), size, before: sha(base.slice(start, start + size)), after: sha(result.slice(start, start + size)) });
    c.spans.splice(i, 1, half(0x40, 16), half(0x50, 16));
    repin(manifest);
  }, "claim-mismatch"],
  ["two spans as one", {}, ({ c, manifest, written: { base, result } }) => {
    const i = c.spans.indexOf(spanAt(c, at(0x60)));
    c.spans.splice(i, 2, { ...c.spans[i], size: 32, before: sha(base.slice(0x60, 0x80)), after: sha(result.slice(0x60, 0x80)) });
    repin(manifest);
  }, "claim-mismatch"],
  ["locked bytes as editable", { kind: "full" }, ({ c }) => (spanAt(c, at(0xaa)).kind = "editable"), "claim-mismatch"],
  ["derived bytes as editable", {}, ({ c }) => (spanAt(c, at(0x90)).kind = "editable"), "claim-mismatch"],
  ["volatile bytes as floating", {}, ({ c }) => (spanAt(c, at(0xc0)).kind = "floating"), "claim-mismatch"],
  ["a write range too few", {}, ({ c }) => c.write_ranges.pop(), "claim-mismatch"],
  ["a write range too many", {}, ({ c }) => c.write_ranges.push({ memory: "nv", start: "0x00000030", size: 2 }), "claim-mismatch"],
  ["a write range in two", {}, ({ c }) => {
    const [first] = c.write_ranges.splice(0, 1);
    c.write_ranges.unshift({ ...first, size: 1 }, ...(first.size > 1 ? [{ ...first, start: addressText(Number(first.start) + 1), size: first.size - 1 }] : []));
    if (first.size === 1) c.write_ranges.splice(1, 1, { ...c.write_ranges[1], size: 1 });
  }, "claim-mismatch"],
  ["a payload that carries a locked byte more", {}, ({ c, contents, written: { result } }) => {
    const range = c.payload.parts[0].ranges[0];
    range.size += 1;
    const content = contents.find(({ name }) => name.startsWith("payload/"));
    content.content = Buffer.concat([content.content.subarray(0, range.size - 1), Buffer.of(result[Number(range.start) - FLASH + range.size - 1]), content.content.subarray(range.size - 1)]);
  }, "claim-mismatch"],
  ["locked bytes that a full payload carries", { kind: "full" }, (parts) => inPayload((content) => (content[carriedAt(parts.c, 0x3a)] ^= 1))(parts), "claim-mismatch"],
  ["the same, in revision 0", FIRST, (parts) => {
    inPayload((content) => (content[carriedAt(parts.c, 0x3a)] ^= 1))(parts);
    parts.c.files[0].digest = sha256Hex(parts.contents.find(({ name }) => name.startsWith("payload/")).content);
  }, "claim-mismatch"],
  ["a patched span's digest before", { edits: PATCHED }, inSpan(0x0, (span) => (span.before = "11".repeat(32))), "claim-mismatch"],
]));

test("how a patch stood in the base is bound to the digest before", async () => {
  // The lie goes through all of the list of changes, and still is one against the bytes.
  const written = walnut();
  const [c] = written.manifest.controllers;
  c.patches[1].base = "after";
  inEntry(written, "changes.json", ({ changes }) => changes.unshift({ memory: "flash", start: at(0x2b), size: 1, region: "", option: "" }));
  spanAt(c, at(0)).before = "11".repeat(32);
  repin(written.manifest);
  assert.equal(told(await ask(written, requestFor(written))), "claim-mismatch");
  // With the right digest it is another base's truth, of which the read says nothing.
  const other = [...written.base.slice(0, 0x40)];
  other[0x2b] = 2;
  spanAt(c, at(0)).before = sha(other);
  repin(written.manifest);
  const verdict = await ask(written, requestFor(written));
  assert.equal(told(verdict), "accepted", JSON.stringify(verdict.reason));
});

test("freshness", async () => {
  const written = walnut();
  const asked = async (one, more) => told(await ask(one, requestFor(one, { fresh: false, ...more })));
  assert.equal(await asked(written), "read-not-fresh", "a checksum of learned bytes in a sector to be written");
  assert.equal(await asked(written, { fresh: true }), "accepted");
  // Only the vehicle's own number is left: what depends on it floats, and never goes stale.
  const bound = walnutMap();
  bound.regions = bound.regions.filter(({ policy }) => policy !== "volatile");
  const calm = walnut({ map: bound });
  assert.equal(calm.manifest.controllers[0].spans.some(({ kind }) => kind === "floating"), true);
  assert.equal(await asked(calm), "accepted");
  // Without sectors the written place itself is what goes stale; through another checksum too.
  const bare = walnutMap();
  delete bare.erase_sectors;
  assert.equal(await asked(walnut({ map: bare })), "read-not-fresh");
  bare.checksums.find(({ name }) => name === "live").coverage.pop();
  bare.copies.pop();
  const apart = walnut({ map: bare });
  assert.equal(await asked(apart), "accepted", "a checksum of learned bytes that nothing written reaches");
  const together = { ...structuredClone(bare), erase_sectors: walnutMap().erase_sectors };
  assert.equal(await asked(walnut({ map: together })), "read-not-fresh", "the same, in a sector to be written");
  const chained = structuredClone(bare);
  chained.checksums.push({ name: "chain", algorithm: { sum: { unit: 8, accumulator: 16 } }, coverage: [{ memory: "flash", start: at(0x94), size: 2 }, { memory: "flash", start: at(0x40), size: 1 }], slots: [{ memory: "flash", at: at(0xb0), size: 2 }] });
  assert.equal(await asked(walnut({ map: chained })), "read-not-fresh", "through another checksum");
  const beside = walnutMap();
  beside.checksums = beside.checksums.filter(({ name }) => name !== "live");
  beside.copies.pop();
  assert.equal(await asked(walnut({ map: beside })), "accepted", "learned bytes in a sector that stays");
  beside.regions.push({ name: "late", memory: "flash", start: at(0xb8), size: 4, policy: "volatile" });
  assert.equal(await asked(walnut({ map: beside })), "read-not-fresh", "learned bytes in a sector to be written");
});

// A map in which every byte is pinned, so that the whole file is sealed.
function pinnedMap() {
  const map = walnutMap();
  map.regions = map.regions.filter(({ policy }) => policy !== "volatile");
  map.identity = map.identity.filter(({ binds }) => !binds);
  return map;
}

test("rebuild", (t) => holdRows(t, "rebuild", [
  ["an editable byte of the payload", {}, (parts) => inPayload((content) => (content[carriedAt(parts.c, 0x50)] ^= 1))(parts), "result-mismatch"],
  ["a derived byte of the payload", {}, (parts) => inPayload((content) => (content[carriedAt(parts.c, 0x90)] ^= 1))(parts), "result-mismatch"],
  ["a byte of a patch in the payload", { edits: PATCHED }, (parts) => inPayload((content) => (content[carriedAt(parts.c, 0x2b)] = 1))(parts), "result-mismatch"],
  ["a span's digest after", {}, inSpan(0x40, (span) => (span.after = "11".repeat(32))), "result-mismatch"],
  ["the digest of a whole file", { map: pinnedMap() }, ({ c }) => (c.files[1].digest = "11".repeat(32)), "claim-mismatch", { vehicle: "blue estate" }],
]));

test("what must fit together: files of a later revision", (t) => holdRows(t, "manifest", [
  ["none", { map: pinnedMap() }, ({ c }) => (c.files = []), "manifest-invalid", { vehicle: "blue estate" }],
  ["one too few", { map: pinnedMap() }, ({ c }) => c.files.pop(), "manifest-invalid", { vehicle: "blue estate" }],
  ["a size", { map: pinnedMap() }, ({ c }) => (c.files[0].size = 255), "manifest-invalid", { vehicle: "blue estate" }],
  ["a form", { map: pinnedMap() }, ({ c }) => (c.files[0].form = "intel-hex"), "manifest-invalid", { vehicle: "blue estate" }],
  ["a file of no memory", { map: pinnedMap() }, ({ c }) => (c.files = [{ ...c.files[0], memory: "" }, c.files[1]]), "manifest-invalid", { vehicle: "blue estate" }],
]));

test("confinement: the list of changes", (t) => holdRows(t, "confinement", [
  ["a change beside the right one", {}, inChanges((changes) => changes.splice(2, 0, { ...changes[0], start: at(0x50) })), "claim-mismatch"],
  ["a change that is too long", {}, inChanges((changes) => (changes.find(({ start }) => start === at(0x58)).size = 2)), "claim-mismatch"],
  ["a change too few", {}, inChanges((changes) => changes.splice(1, 1)), "claim-mismatch"],
  ["a change elsewhere", {}, inChanges((changes) => (changes.find(({ region }) => region === "cell[0]").start = at(0x66))), "claim-mismatch"],
]));

// What the steps before leave no room for is judged all the same: images that were bent behind their back.
test("confinement of a result that no honest step makes", async () => {
  const written = walnut();
  const map = readRegionMap(written.contents[0].content, "map");
  const { image } = await loadRead(map, readsOf(written.shape, written.base));
  const [claims] = written.manifest.controllers;
  const spans = claims.spans.map(({ memory, start, size, ...rest }) =>
    ({ ...rest, memory: memory === "nv" ? 1 : 0, range: { begin: Number(start), end: Number(start) + size } }));
  const plan = makePlan(map, image);
  const judge = async (flats, unknown = []) => {
    const [cut, result] = [copyImage(image), copyImage(image)];
    for (const flat of flats) result.memories[flat < NV ? 0 : 1].bytes[flat % NV] ^= 1;
    for (const flat of unknown) for (const one of [cut, result]) one.memories[0].known.remove({ begin: FLASH + flat, end: FLASH + flat + 1 });
    try {
      await proveConfinement({ opened: { changes: [] }, map, claims, spans, plan, cut, result });
      return "";
    } catch (fault) {
      return fault.code;
    }
  };
  for (const [flats, expected] of [
    [[], ""], [[0x31], "change-signed"], [[0x29], "change-patch"], [[0x3c], "change-locked"], [[0xc2], "change-volatile"], [[NV + 3], "change-volatile"],
    [[0x3c, 0x31, 0x29], "change-signed"], [[0x3c, 0x29, 0xc2], "change-patch"], [[0xc2, 0xee], "change-locked"], [[0x94], ""],
  ]) assert.equal(await judge(flats), expected, flats.join());
  assert.equal(await judge([0x90], [0x44]), "checksum-not-provable");
  assert.equal(await judge([0x91], [0x90]), "checksum-not-provable", "of a place that is known in part");
  assert.equal(await judge([0x90, 0xc2], [0x44]), "change-volatile");
});

test("a read that is not as in the base proves nothing about the list", async () => {
  const written = walnut();
  inEntry(written, "changes.json", ({ changes }) => changes.splice(1, 1));
  const request = requestFor(written);
  request.reads[0].bytes[0x51] ^= 1; // in the span of the lie
  assert.equal(told(await ask(written, request)), "accepted");
  const beside = requestFor(written);
  beside.reads[0].bytes[0x61] ^= 1; // in another one
  assert.equal(told(await ask(written, beside)), "claim-mismatch");
});

test("a patch of which nothing differs in what is known stands as before", async () => {
  const known = (flat) => flat < NV && !(flat >= 0x29 && flat < 0x2b);
  const written = walnut({ known, salt: null });
  const [c] = written.manifest.controllers;
  assert.deepEqual(c.patches[0], { name: "blink", base: "before", result: "before" });
  assert.equal(await askPartly(written, written.base, known, BY_WORD), "accepted");
  assert.equal(await askPartly(written, written.result, () => true, BY_WORD), "accepted");
  c.patches[0] = { name: "blink", base: "after", result: "after" };
  assert.equal(await askPartly(written, written.base, known, BY_WORD), "claim-mismatch");
});

test("checksums", (t) => holdRows(t, "checksums", [
  ["one too few", {}, ({ c }) => c.checksums.pop(), "claim-mismatch"],
  ["one too many", {}, ({ c }) => c.checksums.push(c.checksums[0]), "claim-mismatch"],
  ["a name", {}, ({ c }) => (c.checksums[0].name = "petrol"), "claim-mismatch"],
  ["a state", {}, ({ c }) => (c.checksums[0].state = "fails"), "claim-mismatch"],
  ["the same, in revision 0", FIRST, ({ c }) => (c.checksums[0].state = "fails"), "claim-mismatch"],
  ["one that holds, as not provable", {}, ({ c }) => Object.assign(c.checksums[0], { state: "not-provable", value: "" }), "claim-mismatch"],
  ["one that is not provable, as holding", ONLY_FLASH, ({ c }) => (c.checksums.find(({ name }) => name === "plate").state = "holds"), "checksum-not-provable", BY_WORD],
  ["a value of a slot", {}, ({ c }) => (c.checksums[0].value = "0000"), "claim-mismatch"],
  ["no value of a slot", {}, ({ c }) => (c.checksums[1].value = ""), "claim-mismatch"],
  ["a value of a rule", {}, ({ c }) => (c.checksums.find(({ name }) => name === "even").value = "01"), "claim-mismatch"],
  ["a value of a floating slot", {}, ({ c }) => (c.checksums.find(({ name }) => name === "live").value = "0000"), "claim-mismatch"],
  ["a value of a copy", {}, ({ c }) => (c.checksums.find(({ name }) => name === "mirror").value = "00"), "claim-mismatch"],
  ["a text", {}, ({ c }) => (c.identity[0].text = "W101"), "claim-mismatch"],
  ["a text that is not there", {}, ({ c }) => (c.identity[1].text = ""), "claim-mismatch"],
  ["a text of bytes that are not pinned", {}, ({ c }) => (c.identity[2].text = "513"), "claim-mismatch"],
]));

test("a checksum that is wrong in the result is refused, whatever the manifest says", async () => {
  // The shop seals a result in which a slot, a rule, a copy is wrong, and says so or not.
  for (const [flat, name, expected] of [[0x90, "fuel", "checksum-fails"], [0x9a, "even", "checksum-fails"], [0xa0, "mirror", "copy-one-sided"]]) {
    const map = walnutMap();
    const { shape, base, result } = walnut({ map });
    const wrong = [...result];
    wrong[flat] ^= 1;
    const parts = describeRevision(shape, base, wrong, { salt: SALT });
    const claim = parts.manifest.controllers[0].checksums.find((one) => one.name === name);
    assert.equal(claim.state, "fails");
    const request = { reads: readsOf(shape, base) };
    assert.equal(told(await ask(parts, request)), expected, name);
    claim.state = "holds";
    assert.equal(told(await ask(parts, request)), expected, `${name}, said to hold`);
  }
});

test("the way back of a base that came failing", async () => {
  const { base } = walnut();
  const failing = [...base];
  failing[0x91] ^= 1; // a slot that is derived
  failing[0x95] ^= 1; // and one that floats
  const written = walnut({ revision: 0, base: failing });
  const states = Object.fromEntries(written.manifest.controllers[0].checksums.map(({ name, state }) => [name, state]));
  assert.deepEqual([states.fuel, states.live, states["live-copy"]], ["fails", "fails", "fails"]);
  const verdict = await ask(written, requestFor(written));
  assert.equal(told(verdict), "accepted", JSON.stringify(verdict.reason));
  const [flash] = verdict.files;
  assert.deepEqual([...flash.bytes.subarray(0x90, 0x92)], failing.slice(0x90, 0x92), "as received");
  assert.deepEqual([...flash.bytes.subarray(0x94, 0x96)], base.slice(0x94, 0x96), "corrected");
  const about = (name) => verdict.cautions.find(({ code, text }) => code === "read-checksum-fails" && text.startsWith(`in the read, ${name} `)).text;
  assert.match(about("live"), /; the result holds$/);
  assert.doesNotMatch(about("fuel"), /holds$/);
  for (const [name, change] of [["fuel", { state: "holds" }], ["fuel", { value: "0000" }], ["live", { value: "0000" }], ["live", { state: "not-provable" }]]) {
    const lie = { manifest: structuredClone(written.manifest), contents: written.contents };
    Object.assign(lie.manifest.controllers[0].checksums.find((one) => one.name === name), change);
    const expected = change.state === "holds" ? "checksum-fails" : "claim-mismatch";
    assert.equal(told(await ask(lie, requestFor(written))), expected, JSON.stringify(change));
  }
});

test("without a read", async () => {
  const { base } = walnut();
  const failing = [...base];
  failing[0x95] ^= 1;
  const written = walnut({ revision: 0, base: failing });
  const verdict = await ask(written, { reads: [], ...REVIVE });
  assert.equal(told(verdict), "accepted", JSON.stringify(verdict.reason));
  assert.equal(verdict.vehicle, "asserted");
  assert.deepEqual([...verdict.files[0].bytes], base.slice(0, NV), "the result, and not the payload as it came");
  assert.deepEqual([...verdict.files[1].bytes], base.slice(NV));
  const failed = verdict.cautions.filter(({ code }) => code === "read-checksum-fails");
  assert.ok(failed.length > 0 && failed.every(({ text }) => text.startsWith("in the first read, ")));
  for (const [what, change, expected] of [
    ["another reference", { vehicle: "red van" }, "vehicle-reference"],
    ["none", { vehicle: "" }, "vehicle-not-provable"],
    ["another salt", { salt: Buffer.alloc(32, 1) }, "salt-wrong"],
    ["no salt", { salt: null }, "accepted"],
  ]) assert.equal(told(await ask(written, { reads: [], ...REVIVE, ...change })), expected, what);
  const later = walnut();
  assert.equal(told(await ask(later, { reads: [], ...REVIVE })), "read-missing");
});

test("words without a read speak of no read to take again", async () => {
  const written = walnut(FIRST);
  const [c] = written.manifest.controllers;
  c.checksums[0].value = "0000";
  c.binding[0].digest = "11".repeat(32);
  const verdict = await ask(written, { reads: [], ...REVIVE });
  assert.equal(told(verdict), "vehicle-mismatch");
  assert.equal(verdict.reason.found, "another value in the first read");
  assert.equal(verdict.reason.next, "do not use this bundle; tell the shop");
});

test("a bundle of every field that is the shop's word says what it likes", async () => {
  const written = walnut({ notes: "any", requirements: ["fuel of 98"], cautions: ["mind the gap"], options: [{ name: "spark", title: "", digest: "22".repeat(32) }] });
  Object.assign(written.manifest, { title: "Something", job: "job-8", tool: "another" });
  assert.equal(told(await ask(written, requestFor(written))), "accepted");
});

test("the verification number of the result, and whether it is the base's", async () => {
  const said = async (edits) => {
    const written = walnut({ edits });
    const verdict = await ask(written, requestFor(written));
    assert.equal(told(verdict), "accepted");
    return verdict.cautions.find(({ code }) => code === "verification-number").text;
  };
  assert.match(await said(EDIT), / changes to aa7c838a: an inspection may compare it$/);
  assert.match(await said([[0x62, 1]]), / stays 757c838a: an inspection may compare it$/);
  const first = walnut(FIRST);
  assert.ok((await ask(first, requestFor(first))).cautions.every(({ code }) => code !== "verification-number"));
});
