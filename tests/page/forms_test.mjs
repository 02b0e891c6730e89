// Files as they come: published records, the forms of the fixtures, the corpus of the fuzzers; identity fields; and that what is
// read is written back byte for byte.
import assert from "node:assert/strict";
import fs from "node:fs";
import path from "node:path";
import { test } from "node:test";

import "./platform.mjs";
import { hmacSha256 } from "../../src/page/digest.js";
import { fromHex } from "../../src/page/bytes.js";
import { parseForm, recogniseForm, writeBack } from "../../src/page/form.js";
import { parseIntelHex, writeIntelHex } from "../../src/page/intel_hex.js";
import { decodeRecord } from "../../src/page/record_text.js";
import { loadRead, renderRead } from "../../src/page/read.js";
import { Refusal } from "../../src/page/reason.js";
import { readRegionMap } from "../../src/page/region_map.js";
import { parseSRecord, writeSRecord } from "../../src/page/s_record.js";
import { listFixtures, readFixture, readVectors, seededRandom } from "./support.mjs";

const text = (string) => new TextEncoder().encode(string);
const FORMS = [["intel-hex", "intel_hex", parseIntelHex, writeIntelHex], ["s-record", "s_record", parseSRecord, writeSRecord]];

test("published records are whole; those with a wrong checksum are not", () => {
  for (const [kind, name] of FORMS) {
    const { rows, must_reject: bad } = readVectors(name);
    assert.ok(rows.length > 5);
    for (const { record } of rows) assert.equal(decodeRecord(kind, text(record), { number: 1, begin: 0, end: record.length }).fault, undefined, record);
    for (const record of bad) assert.equal(decodeRecord(kind, text(record), { number: 1, begin: 0, end: record.length }).fault.code, "record-checksum", record);
  }
});

test("two forms of one image hold the same, and come back as they came", () => {
  const hex = parseForm(readFixture("forms", "two_segments.hex"));
  const records = parseForm(readFixture("forms", "two_segments.s19"));
  assert.equal(hex.kind, "intel-hex");
  assert.equal(records.kind, "s-record");
  assert.deepEqual(hex.segments, records.segments);
  assert.deepEqual(hex.segments.map(({ address, bytes }) => [address, bytes.length]), [[0x80010000, 96], [0x80010080, 13]]);
  assert.equal(recogniseForm(readFixture("forms", "two_segments.bin")), "raw");
  for (const file of [hex, records]) assert.deepEqual(writeBack(file, file.segments), file.original);
});

// The same properties that the fuzzers hold the C++ reader to.
function mustHold(parse, write, bytes, what) {
  let file;
  try {
    file = parse(bytes);
  } catch (fault) {
    assert.ok(fault instanceof Refusal && /^line [0-9]+$/.test(fault.place), `${what}: ${fault.stack}`);
    return fault.code;
  }
  assert.deepEqual(writeBack(file, file.segments), bytes, `${what}: written back`);
  const changed = file.segments.map((segment) => ({ ...segment, bytes: segment.bytes.map((byte) => byte ^ 0xa5) }));
  const written = writeBack(file, changed);
  assert.equal(written.length, bytes.length, what);
  assert.deepEqual(parse(written).segments, changed, `${what}: other bytes`);
  if (changed.length > 0) assert.deepEqual(parse(text(write(changed))).segments, changed, `${what}: a new file`);
  return "read";
}

test("corpus, and its files bent by chance", () => {
  const random = seededRandom("forms");
  for (const [, name, parse, write] of FORMS) {
    const files = listFixtures("fuzz", name);
    assert.ok(files.length >= 10);
    for (const file of files) {
      const whole = readFixture("fuzz", name, file);
      const told = mustHold(parse, write, whole, file);
      if (/wrong|no_end|reserved|crossing|overlap|after_end|twice/.test(file)) assert.notEqual(told, "read", file);
      for (let round = 0; round < 60; ++round) {
        const bent = whole.slice(0, random.below(8) === 0 ? random.below(whole.length + 1) : whole.length);
        if (bent.length > 0) bent[random.below(bent.length)] = random.pick([0x0d, 0x0a, 0x30, 0x46, 0x66, 0x3a, 0x53, random.below(256)]);
        mustHold(parse, write, bent, `${file}, CALSEAL_SEED=${random.seed}`);
      }
    }
  }
});

test("a damaged record file keeps its kind; a raw file that begins like one does not get it", () => {
  const file = readFixture("forms", "two_segments.hex").slice();
  file[5] = 0x7a;
  assert.equal(recogniseForm(file), "intel-hex");
  assert.throws(() => parseForm(file), (fault) => fault.code === "record-malformed");
  assert.equal(recogniseForm(Uint8Array.of(0x3a, 1, 2, 3, 4, 5, 6, 7, 8)), "raw");
  assert.equal(recogniseForm(new Uint8Array(64)), "raw");
});

test("files of real parts of Debian packages, where they are installed", (context) => {
  const folder = "/usr/share/arduino/hardware/arduino/avr/bootloaders";
  if (!fs.existsSync(folder)) return context.skip("arduino-core-avr is not installed");
  let files = 0;
  for (const found of fs.readdirSync(folder, { recursive: true })) {
    if (!found.endsWith(".hex")) continue;
    const bytes = new Uint8Array(fs.readFileSync(path.join(folder, found)));
    if (mustHold(parseIntelHex, writeIntelHex, bytes, found) === "read") ++files;
  }
  assert.ok(files > 10);
  return undefined;
});

test("a declared wrapping is taken apart and put together again; one with another constant is refused", async () => {
  const map = readRegionMap(text(JSON.stringify({
    calseal: "region-map/1", name: "wrapped", controller: "engine", version: 1,
    memories: [{ name: "a", origin: "0x00000000", size: 4 }, { name: "b", origin: "0x00000000", size: 2 }],
    forms: [{ name: "box", blocks: [{ constant: "beef" }, { memory: "b", start: "0x00000000", size: 2 }, { opaque: 1 }, { memory: "a", start: "0x00000000", size: 4 }] }],
    regions: [], evidence: { author: "tests", verified_on: [], guesses: [], grade: "draft" },
  })), "map");
  const file = fromHex("beef010299aabbccdd");
  const read = await loadRead(map, [{ memory: "", name: "box.bin", bytes: file }]);
  assert.deepEqual([...read.image.memories[0].bytes], [0xaa, 0xbb, 0xcc, 0xdd]);
  assert.deepEqual([...read.image.memories[1].bytes], [1, 2]);
  read.image.memories[1].bytes[0] = 7;
  assert.deepEqual((await renderRead(map, read, read.image))[0].bytes, fromHex("beef070299aabbccdd"));
  file[0] = 0;
  await assert.rejects(loadRead(map, [{ memory: "", name: "box.bin", bytes: file }]), (fault) => fault.code === "form-unknown");
  const raw = (memory, size) => ({ memory, name: "raw.bin", bytes: new Uint8Array(size) });
  const rows = [["memory-missing", raw("", 3)], ["memory-unknown", raw("c", 4)], ["image-size", raw("a", 5)], ["record-overlap", raw("a", 4), raw("a", 4)]];
  for (const [code, ...files] of rows) await assert.rejects(loadRead(map, files), (fault) => fault.code === code, code);
});

function wrappedMap(forms) {
  return readRegionMap(text(JSON.stringify({
    calseal: "region-map/1", name: "wrapped", controller: "engine", version: 1,
    memories: [{ name: "a", origin: "0x00000000", size: 8 }, { name: "b", origin: "0x00000000", size: 2 }],
    forms, regions: [], evidence: { author: "tests", verified_on: [], guesses: [], grade: "draft" },
  })), "map");
}

test("a wrapping's own checksum is verified, and made right again; omitted bytes are the fill, or the file cannot hold them", async () => {
  const place = (memory, start, size) => ({ memory, start: `0x${start.toString(16).padStart(8, "0")}`, size });
  const map = wrappedMap([{ name: "box", blocks: [{ constant: "cafe" }, place("a", 4, 4), { opaque: 2 }], omitted: [place("a", 0, 4)], fill: "ff",
    checksums: [{ name: "own", algorithm: { sum: { unit: 8, accumulator: 16 } }, coverage: [place("file", 0, 6)], slots: [{ memory: "file", at: "0x00000006", size: 2 }] }] }]);
  // ca + fe + 01 + 02 + 03 + 04 = 1d2
  const file = fromHex("cafe01020304d201");
  const files = (bytes) => [{ memory: "", name: "box.bin", bytes }];
  const read = await loadRead(map, files(file));
  assert.deepEqual([...read.image.memories[0].bytes], [0xff, 0xff, 0xff, 0xff, 1, 2, 3, 4]);
  assert.ok(read.image.memories[0].known.contains({ begin: 0, end: 8 }));
  assert.deepEqual((await renderRead(map, read, read.image))[0].bytes, file);
  const image = { memories: read.image.memories.map((memory) => ({ ...memory, bytes: memory.bytes.slice() })) };
  image.memories[0].bytes[7] = 5;
  assert.deepEqual((await renderRead(map, read, image))[0].bytes, fromHex("cafe01020305d301"));
  image.memories[0].bytes[0] = 0;
  await assert.rejects(renderRead(map, read, image), (fault) => fault.code === "form-omits");
  file[7] = 9;
  await assert.rejects(loadRead(map, files(file)), (fault) => fault.code === "form-checksum");
  await assert.rejects(loadRead(map, [{ memory: "b", name: "box.bin", bytes: file }]), (fault) => fault.code === "image-size");
});

test("what nobody can read is told apart from what does not fit", async () => {
  const random = seededRandom("opaque");
  const map = wrappedMap([{ name: "vault", signature: "56415554", note: "ask the maker" }]);
  const refuses = (bytes, code) => assert.rejects(loadRead(map, [{ memory: "a", name: "x", bytes }]), (fault) => fault.code === code, code);
  await refuses(fromHex("5641555400"), "form-opaque");
  await refuses(random.bytes(32768), "form-opaque");
  await refuses(new Uint8Array(32768), "image-size");
});

test("HMAC-SHA-256, RFC 4231", async () => {
  for (const { key, hex, hmac } of readVectors("hmac_sha256").rows) {
    const found = await hmacSha256(fromHex(key), fromHex(hex));
    assert.equal(found.slice(0, hmac.length), hmac);
  }
});

test("an image of 4 MiB passes through records unchanged", () => {
  const bytes = new Uint8Array(2 ** 22).map((_, i) => (i * i) >> 3);
  for (const [, , parse, write] of FORMS) {
    const [segment] = parse(text(write([{ address: 0x80000000, bytes }]))).segments;
    assert.equal(segment.address, 0x80000000);
    assert.equal(Buffer.compare(segment.bytes, bytes), 0);
  }
});
