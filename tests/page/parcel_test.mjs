// docs/parcel.md, check by check: parcels that a forger writes from the text, one fault each, and those that the page writes.
import assert from "node:assert/strict";
import { test } from "node:test";
import { deflateRawSync } from "node:zlib";

import "./platform.mjs";
import { utf8 } from "../../src/page/bytes.js";
import { newCustomer, readCustomerFile, writeCustomerFile } from "../../src/page/customer_file.js";
import { cleanFileName, makeParcel, readParcel } from "../../src/page/parcel.js";
import { keyOf, listEntries, parcel as forge, sha256Hex } from "./forge.mjs";

const CUSTOMER = keyOf(21);
const OTHER = keyOf(22);
const ROOT = "a".repeat(64);
const SHEET = "b".repeat(64);
const TIME = "2030-05-01T10:00:00Z";
const WEAK = `01${"0".repeat(62)}`;
const WISH = {
  seed: "15".repeat(32), number: 3, claimedTime: TIME, root: ROOT, sheet: SHEET, job: "oak-17", vehicleReference: "blue estate",
  words: "It hesitates at 2,000.\n", order: ["towing"], answers: [{ question: "fuel", answer: "e85" }], accepted: ["Not for the road."],
  reads: [
    { controller: "engine", memory: "flash", series: 1, fileName: "read.bin", bytes: new Uint8Array(64).fill(1), codes: ["blank"] },
    { controller: "engine", memory: "flash", series: 2, fileName: "again.bin", bytes: Uint8Array.from({ length: 64 }, (_, i) => i), codes: ["cut-off", "differs"] },
  ],
  logs: [{ revision: "c".repeat(64), fileName: "drive.csv", bytes: utf8("time,boost\n1,2\n") }], tool: "calseal 0 (page)",
};

const made = await makeParcel(WISH, { deflate: false });
const contentsOf = () => [
  { name: "reads/1.bin", deflated: false, content: Buffer.from(WISH.reads[0].bytes) },
  { name: "reads/2.bin", deflated: false, content: Buffer.from(WISH.reads[1].bytes) },
  { name: "logs/1.log", deflated: false, content: Buffer.from(WISH.logs[0].bytes) },
];

// The fields as the text lists them, not as the page does.
function sound() {
  return {
    calseal: "parcel/1", key: CUSTOMER.publicKey, number: 3, claimed_time: TIME, root: ROOT, sheet: SHEET, job: "oak-17",
    vehicle_reference: "blue estate", words: "It hesitates at 2,000.\n", order: ["towing"], answers: [{ question: "fuel", answer: "e85" }],
    accepted: ["Not for the road."],
    reads: [
      { entry: "reads/1.bin", controller: "engine", memory: "flash", series: 1, file_name: "read.bin" },
      { entry: "reads/2.bin", controller: "engine", memory: "flash", series: 2, file_name: "again.bin" },
    ],
    logs: [{ entry: "logs/1.log", revision: "c".repeat(64), file_name: "drive.csv" }],
    findings: [{ entry: "reads/1.bin", code: "blank" }, { entry: "reads/2.bin", code: "cut-off" }, { entry: "reads/2.bin", code: "differs" }],
    tool: "calseal 0 (page)", entries: listEntries(contentsOf()),
  };
}

function forged(change = () => {}, { contents = contentsOf(), keys = [CUSTOMER], text = (value) => JSON.stringify(value) } = {}) {
  const value = sound();
  value.entries = listEntries(contents);
  const changed = change(value) ?? value;
  return new Uint8Array(forge(text(changed), contents, keys));
}

async function reasonOf(bytes, context = {}) {
  try {
    await readParcel(bytes, "a.parcel", context);
    return "accepted";
  } catch (fault) {
    if (fault.code === undefined) throw fault;
    return fault.code;
  }
}

test("the same wish gives the bytes that a forger writes from the text", async () => {
  assert.equal(WISH.seed, "15".repeat(32)); // keyOf(21)
  assert.deepEqual(Buffer.from(made.bytes), Buffer.from(forged()));
  assert.deepEqual((await makeParcel(WISH, { deflate: false })).bytes, made.bytes);
});

test("what was written is read again, content by content", async () => {
  const read = await readParcel(made.bytes, "a.parcel", {
    roots: ["9".repeat(64), ROOT], sheet: { digest: SHEET }, job: { job: "oak-17", vehicleReference: "blue estate" },
    customer: { known: CUSTOMER.publicKey, changed: false, newest: { [CUSTOMER.publicKey]: 2 } },
  });
  const entries = sound().entries.map((entry) => ({ ...entry, crc32: Number(entry.crc32) }));
  assert.deepEqual(read.parcel, { ...sound(), entries });
  assert.equal(read.keyId, CUSTOMER.id);
  assert.deepEqual(read.cautions, []);
  assert.deepEqual(read.contents.map((one) => Buffer.from(one)), contentsOf().map(({ content }) => content));
  const manifestSize = utf8(JSON.stringify(sound())).length;
  assert.equal(read.digest, sha256Hex(made.bytes.subarray(41, 41 + manifestSize)));
});

test("files that get shorter are deflated, the others stored", { skip: noDeflate() }, async () => {
  const noise = Uint8Array.from({ length: 5000 }, (_, i) => (i * i * 31 + (i >> 3) * 17 + i * 7) & 0xff);
  const reads = [{ ...WISH.reads[0], bytes: new Uint8Array(100000) }, { ...WISH.reads[1], bytes: new Uint8Array() }];
  const { bytes, parcel } = await makeParcel({ ...WISH, reads, logs: [{ ...WISH.logs[0], bytes: crypto.getRandomValues(noise) }] });
  assert.deepEqual(parcel.entries.map(({ method }) => method), ["deflated", "stored", "stored"]);
  assert.ok(bytes.length < 9000);
  const read = await readParcel(bytes, "a.parcel");
  assert.deepEqual(read.contents, [reads[0].bytes, reads[1].bytes, noise]);
});

function noDeflate() {
  try {
    return void new CompressionStream("deflate-raw");
  } catch {
    return "no raw deflate here";
  }
}

test("every turned bit, every cut and every added byte is refused", async () => {
  const small = (await makeParcel({ ...WISH, reads: [], logs: [{ revision: "", fileName: "", bytes: utf8("ab") }], order: [], answers: [], accepted: [] },
    { deflate: false })).bytes;
  assert.equal(await reasonOf(small), "accepted");
  for (let bit = 0; bit < 8 * small.length; ++bit) {
    const bent = small.slice();
    bent[bit >> 3] ^= 1 << (bit & 7);
    assert.notEqual(await reasonOf(bent), "accepted", `bit ${bit}`);
  }
  for (let size = 0; size < small.length; ++size) assert.notEqual(await reasonOf(small.subarray(0, size)), "accepted", `${size} bytes`);
  for (const byte of [0, 0x50, 0xff]) assert.equal(await reasonOf(Uint8Array.of(...small, byte)), "framing-damaged");
});

const jsonAt = 41;
const jsonSize = utf8(JSON.stringify(sound())).length;
const signatureAt = jsonAt + jsonSize;
const bend = (at, value) => () => {
  const bytes = forged();
  bytes[at] = value ?? bytes[at] ^ 1;
  return bytes;
};
const replaced = (from, to) => ({ text: (value) => JSON.stringify(value).replace(from, to) });
const bigEntry = (change) => (value) => void change(value.entries[2]);

// Check 1 to 3, and 5 to 7.
const FILE_ROWS = [
  ["too short", "parcel-invalid", () => new Uint8Array(97)],
  ["no ZIP", "type-wrong", () => new Uint8Array(98)],
  ["a bundle", "type-wrong", () => new Uint8Array(forge(sound(), contentsOf(), [CUSTOMER])).map((byte, i) => (i === 30 ? 0x6d : byte))],
  ["a flag in the first header", "type-wrong", bend(6)],
  ["no bytes of parcel.json", "parcel-invalid", () => forged().map((byte, i) => (i >= 18 && i < 26 ? 0 : byte))],
  ["more of parcel.json than there is", "parcel-invalid", bend(21)],
  ["two sizes of parcel.json", "parcel-invalid", bend(22)],
  ["another CRC-32 of parcel.json", "parcel-invalid", bend(14)],
  ["a byte of parcel.json", "parcel-invalid", bend(jsonAt + 300)],
  ["a damaged header of the signature", "parcel-invalid", bend(signatureAt + 6)],
  ["no signature", "parcel-invalid", () => forged(undefined, { keys: [] })],
  ...[22, 23, 24, 25, 26].map((byte) => [`two signatures, the other by key ${byte}`, "parcel-invalid", () => forged(undefined, { keys: [CUSTOMER, keyOf(byte)] })]),
  ["the signature of another", "parcel-invalid", () => forged(undefined, { keys: [OTHER] })],
  ["another kind", "type-wrong", () => forged((value) => void (value.calseal = "revision/1"))],
  ["a later format", "format-unknown", () => forged((value) => void (value.calseal = "parcel/2"))],
  ["a key in capitals", "parcel-invalid", () => forged((value) => void (value.key = value.key.toUpperCase()))],
  ["a key that is not second", "parcel-invalid", () => forged(({ key, ...value }) => ({ calseal: value.calseal, number: 3, key, ...value }))],
  ["a space before the key", "parcel-invalid", () => forged(undefined, replaced('"key"', ' "key"'))],
  ["a weak key", "key-weak", () => forged((value) => void (value.key = WEAK), {
    keys: [{ ...CUSTOMER, id: sha256Hex(Buffer.from(`302a300506032b6570032100${WEAK}`, "hex")) }] })],
  ["a signature that is bent", "signature-bad", () => {
    const bytes = forged();
    const at = signatureAt + 30 + 79;
    bytes[at] ^= 1;
    return withCrc(bytes, signatureAt, at, 64);
  }],
  ["the header of an entry", "framing-damaged", bend(signatureAt + 30 + 79 + 64 + 6)],
  ["the central directory", "framing-damaged", () => bend(forged().length - 60)()],
  ["stored bytes", "stored-digest", bend(signatureAt + 30 + 79 + 64 + 30 + 11)],
  ["a content that is another", "content-digest", () => forged(bigEntry((entry) => void (entry.digest = entry.stored_digest = "d".repeat(64))))],
  ["a crc32 that is another", "content-digest", () => withHeaderCrc()],
];

function crc(bytes) {
  let value = -1;
  for (const byte of bytes) {
    value ^= byte;
    for (let bit = 0; bit < 8; ++bit) value = value & 1 ? (value >>> 1) ^ 0xedb88320 : value >>> 1;
  }
  return ~value >>> 0;
}

// The same bytes with the right CRC-32 in a local header.
function withCrc(bytes, headerAt, at, size) {
  const out = Buffer.from(bytes);
  out.writeUInt32LE(crc(out.subarray(at, at + size)), headerAt + 14);
  return new Uint8Array(out);
}

// A parcel whose json and headers agree on a wrong CRC-32 of the last content.
function withHeaderCrc() {
  const contents = contentsOf();
  const right = listEntries(contents)[2].crc32;
  const bytes = Buffer.from(forged((value) => void (value.entries[2].crc32 = "0x00000001")));
  const found = Buffer.alloc(4);
  found.writeUInt32LE(Number(right));
  for (let at = bytes.indexOf(found, signatureAt); at >= 0; at = bytes.indexOf(found, at)) bytes.writeUInt32LE(1, at);
  return new Uint8Array(bytes);
}

// Stored digest and content digest differ in the row below only where the content is deflated; a stored one has them equal.
FILE_ROWS.splice(FILE_ROWS.findIndex(([name]) => name === "a content that is another"), 1,
  ["a content digest that is another", "content-digest", () => deflatedLog((entry) => void (entry.digest = "d".repeat(64)))],
  ["a stream with a byte behind it", "content-digest", () => deflatedLog(() => {}, (stored) => Buffer.concat([stored, Buffer.from([0])]))],
  ["a stream that is cut off", "content-digest", () => deflatedLog(() => {}, (stored) => stored.subarray(0, -2))]);

function deflatedLog(change, store = (stored) => stored) {
  const content = Buffer.from("0123456789".repeat(100));
  const contents = [...contentsOf().slice(0, 2), { name: "logs/1.log", deflated: true, content, stored: store(deflateRawSync(content)) }];
  return forged(bigEntry(change), { contents });
}

for (const [name, reason, bytes] of FILE_ROWS) {
  test(`${name}: ${reason}`, async () => assert.equal(await reasonOf(bytes()), reason));
}

// Check 4: every one of these is parcel-invalid, and its twin beside it is accepted.
const big = (count, make) => Array.from({ length: count }, (_, i) => make(i));
const manyReads = (count, memory = (i) => `m${i}`) => ({
  contents: [...big(count, (i) => ({ name: `reads/${i + 1}.bin`, deflated: false, content: Buffer.from([i]) }))],
  change: (value) => {
    value.reads = big(count, (i) => ({ entry: `reads/${i + 1}.bin`, controller: "engine", memory: memory(i), series: 1, file_name: "" }));
    value.logs = [];
    value.findings = [];
  },
});
const FIELD_ROWS = [
  ["a field too much", (value) => void (value.more = 1)],
  ["a field too few", (value) => void delete value.tool],
  ["fields in another order", ({ number, ...value }) => ({ ...value, number })],
  ["number 0", (value) => void (value.number = 0)],
  ["a number above 2^40", (value) => void (value.number = 2 ** 40 + 1)],
  ["a time that is none", (value) => void (value.claimed_time = "2030-02-30T00:00:00Z")],
  ["a root that is none", (value) => void (value.root = "abc")],
  ["a job that is no name", (value) => void (value.job = "Oak 17")],
  ["a reference of two lines", (value) => void (value.vehicle_reference = "blue\nestate")],
  ["words of 64 KiB and one", (value) => void (value.words = "w".repeat(65537))],
  ["an order out of order", (value) => void (value.order = ["towing", "sport"])],
  ["an option twice", (value) => void (value.order = ["towing", "towing"])],
  ["257 options", (value) => void (value.order = big(257, (i) => `o${String(i).padStart(3, "0")}`))],
  ["a question twice", (value) => void value.answers.push({ question: "fuel", answer: "petrol" })],
  ["an empty answer", (value) => void (value.answers[0].answer = "")],
  ["an answer of 4,097 bytes", (value) => void (value.answers[0].answer = "a".repeat(4097))],
  ["65 answers", (value) => void (value.answers = big(65, (i) => ({ question: `q${i}`, answer: "x" })))],
  ["1,025 cautions", (value) => void (value.accepted = big(1025, (i) => `c${i}`))],
  ["an order without a sheet", (value) => void Object.assign(value, { sheet: "", answers: [], accepted: [] })],
  ["an answer without a sheet", (value) => void Object.assign(value, { sheet: "", order: [], accepted: [] })],
  ["a caution without a sheet", (value) => void Object.assign(value, { sheet: "", order: [], answers: [] })],
  ["one memory twice", (value) => void (value.reads[1].series = 1)],
  ["a third read without a second", (value) => void (value.reads[1].series = 3)],
  ["a second read before the first", (value) => void Object.assign(value.reads[0], { series: 2 }) ?? void (value.reads[1].series = 1)],
  ["a second read of another memory", (value) => void (value.reads[1].memory = "eeprom")],
  ["series 17", (value) => void (value.reads[1].series = 17)],
  ["reads in another order than their entries", (value) => void value.reads.reverse()],
  ["a read whose entry is not listed", (value) => void (value.reads[0].entry = "reads/3.bin") ?? void (value.findings = [])],
  ["an entry of another name", (value) => void (value.reads[0].entry = "reads/3.bin")],
  ["a log too much", (value) => void value.logs.push({ entry: "logs/2.log", revision: "", file_name: "" })],
  ["a log too few", (value) => void value.logs.pop()],
  ["stored bytes of another size", bigEntry((entry) => void (entry.size += 1))],
  ["stored bytes of another digest", bigEntry((entry) => void (entry.digest = "d".repeat(64)))],
  ["deflated bytes that are not shorter", bigEntry((entry) => void (entry.method = "deflated"))],
  ["deflated bytes that give too much", bigEntry((entry) => void Object.assign(entry, { method: "deflated", size: 1033 * entry.stored_size }))],
  ["a finding about a log", (value) => void value.findings.push({ entry: "logs/1.log", code: "blank" })],
  ["a finding about a log alone", (value) => void (value.findings = [{ entry: "logs/1.log", code: "blank" }])],
  ["findings of reads out of order", (value) => void value.findings.reverse()],
  ["codes out of order", (value) => void (value.findings = [value.findings[2], value.findings[1]])],
  ["a code twice", (value) => void value.findings.push(value.findings[2])],
  ["a code that is no name", (value) => void (value.findings = [{ entry: "reads/1.bin", code: "Cut off" }])],
  ["449 findings", (value) => void (value.findings = big(449, (i) => ({ entry: "reads/1.bin", code: `c${String(i).padStart(3, "0")}` })))],
];
for (const [name, change] of FIELD_ROWS) {
  test(`${name} is refused`, async () => assert.equal(await reasonOf(forged(change)), "parcel-invalid"));
}

const TEXT_ROWS = [
  ["white space", (text) => `${text} `], ["a repeated key", (text) => text.replace('"tool"', '"words":"","tool"')],
  ["an escaped slash", (text) => text.replace("reads/1.bin", "reads\\/1.bin")], ["a bracket too few", (text) => text.slice(0, -1)],
  ["bytes that are not UTF-8", (text) => Buffer.from(text.replace("hesitates", "hesit\u00fftes"), "latin1")],
];
for (const [name, change] of TEXT_ROWS) {
  test(`${name} in the text is refused`, async () => assert.equal(await reasonOf(forged(undefined, { text: (value) => change(JSON.stringify(value)) })), "parcel-invalid"));
}

test("limits are what the text says, not one less", async () => {
  const rows = [
    (value) => void (value.number = 2 ** 40),
    (value) => void (value.words = "w".repeat(65536)),
    (value) => void (value.answers[0].answer = "a".repeat(4096)),
    (value) => void (value.order = big(256, (i) => `o${String(i).padStart(3, "0")}`)),
    (value) => void (value.accepted = big(1024, (i) => `c${i}`)),
    (value) => void (value.findings = big(256, (i) => ({ entry: "reads/1.bin", code: `c${String(i).padStart(3, "0")}` }))),
    (value) => void Object.assign(value, { root: "", sheet: "", job: "", vehicle_reference: "", words: "", order: [], answers: [], accepted: [] }),
    (value) => void (value.reads[1].controller = "transmission") ?? void (value.reads[1].series = 1),
  ];
  for (const change of rows) assert.equal(await reasonOf(forged(change)), "accepted", String(change));
  for (const [count, reason] of [[64, "accepted"], [65, "parcel-invalid"]]) {
    const { change, contents } = manyReads(count);
    assert.equal(await reasonOf(forged(change, { contents })), reason, `${count} reads`);
  }
  const nameless = manyReads(3, () => "");
  assert.equal(await reasonOf(forged(nameless.change, { contents: nameless.contents })), "accepted", "reads of no memory may be alike");
});

test("a parcel of nothing is refused, and one of a single word, option, log or read is not", async () => {
  const nothing = (more) => (value) => void Object.assign(value, { words: "", order: [], answers: [], accepted: [], reads: [], logs: [], findings: [], entries: [] }, more);
  assert.equal(await reasonOf(forged(nothing({}), { contents: [] })), "parcel-invalid");
  assert.equal(await reasonOf(forged(nothing({ accepted: ["x"], answers: [{ question: "q", answer: "a" }] }), { contents: [] })), "parcel-invalid");
  assert.equal(await reasonOf(forged(nothing({ words: "x" }), { contents: [] })), "accepted");
  assert.equal(await reasonOf(forged(nothing({ order: ["towing"] }), { contents: [] })), "accepted");
});

// Checks 8 to 12.
const customer = (more) => ({ customer: { known: CUSTOMER.publicKey, changed: false, newest: {}, ...more } });
const CONTEXT_ROWS = [
  ["the shop's root", "accepted", {}, { roots: [ROOT] }],
  ["a root that the shop's succeeded", "accepted", {}, { roots: [ROOT, "e".repeat(64)] }],
  ["another shop", "parcel-other", {}, { roots: ["e".repeat(64)] }],
  ["no root", "accepted", { root: "" }, { roots: ["e".repeat(64)] }],
  ["another job", "parcel-other", {}, { job: { job: "elm-2", vehicleReference: "blue estate" } }],
  ["another vehicle", "parcel-other", {}, { job: { job: "oak-17", vehicleReference: "red van" } }],
  ["no job and no vehicle", "accepted", { job: "", vehicle_reference: "" }, { job: { job: "elm-2", vehicleReference: "red van" } }],
  ["another customer", "parcel-other", {}, customer({ known: OTHER.publicKey })],
  ["another customer, by his word", "accepted", {}, customer({ known: OTHER.publicKey, changed: true, newest: { [OTHER.publicKey]: 9 } })],
  ["the same number", "parcel-old", {}, customer({ newest: { [CUSTOMER.publicKey]: 3 } })],
  ["an older number", "parcel-old", {}, customer({ newest: { [CUSTOMER.publicKey]: 4 } })],
  ["a newer number", "accepted", {}, customer({ newest: { [CUSTOMER.publicKey]: 2 } })],
  ["another shop and another job", "parcel-other", {}, { roots: ["e".repeat(64)], job: { job: "elm-2", vehicleReference: "" } }],
];
for (const [name, reason, fields, context] of CONTEXT_ROWS) {
  test(`${name}: ${reason}`, async () => assert.equal(await reasonOf(forged((value) => void Object.assign(value, fields)), context), reason));
}

test("a parcel of another sheet is told, not refused", async () => {
  const read = await readParcel(forged(), "a.parcel", { sheet: { digest: "e".repeat(64) } });
  assert.deepEqual(read.cautions.map(({ code }) => code), ["sheet-other"]);
});

test("the first fault gives the reason", async () => {
  const late = (value) => void (value.words = "w".repeat(65537));
  assert.equal(await reasonOf(forged(late, { keys: [OTHER] })), "parcel-invalid");
  const both = forged((value) => void Object.assign(value, { number: 1, root: "e".repeat(64) }));
  assert.equal(await reasonOf(both, { roots: [ROOT], ...customer({ newest: { [CUSTOMER.publicKey]: 5 } }) }), "parcel-other");
  both[both.length - 1] ^= 1;
  assert.equal(await reasonOf(both, { roots: [ROOT] }), "framing-damaged");
});

test("one of the others' signatures stands before the customer's, and one after it", () => {
  const sides = new Set([22, 23, 24, 25, 26].map((byte) => keyOf(byte).id < CUSTOMER.id));
  assert.equal(sides.size, 2);
});

test("the writer puts an order in order, and a caution once", async () => {
  const { parcel } = await makeParcel({ ...WISH, order: ["towing", "sport"], accepted: ["b", "a", "b"] }, { deflate: false });
  assert.deepEqual([parcel.order, parcel.accepted], [["sport", "towing"], ["b", "a"]]);
});

test("the writer refuses what a reader would", async () => {
  const refused = async (change, code) => assert.rejects(makeParcel({ ...WISH, ...change }), (fault) => fault.code === code, JSON.stringify(change).slice(0, 80));
  await refused({ words: "w".repeat(65537) }, "parcel-invalid");
  await refused({ sheet: "" }, "parcel-invalid");
  await refused({ number: 0 }, "parcel-invalid");
  await refused({ vehicleReference: "two\nlines" }, "parcel-invalid");
  await refused({ reads: [{ ...WISH.reads[1] }] }, "parcel-invalid");
  await refused({ answers: big(64, (i) => ({ question: `q${i}`, answer: "\u0001".repeat(4096) })) }, "file-too-large");
});

test("names of files lose what nobody can see", () => {
  assert.equal(cleanFileName("C:\\reads\\my read.bin"), "my read.bin");
  assert.equal(cleanFileName("/home/me/a.bin"), "a.bin");
  assert.equal(cleanFileName("a\u202egnp.bin\u0007\u200b\u00ad"), "a_gnp.bin___");
  assert.equal(cleanFileName("ü".repeat(150)), "ü".repeat(100));
  assert.equal(cleanFileName(`${"x".repeat(198)}€`), "x".repeat(198));
  assert.equal(cleanFileName(`${"x".repeat(197)}€.`), `${"x".repeat(197)}€`);
  assert.equal(cleanFileName(`${"x".repeat(197)}😀`), "x".repeat(197));
  assert.equal(cleanFileName(""), "");
});

// The customer file.

const CUSTOMER_SOUND = { calseal: "customer/1", seed: "15".repeat(32), number: 7, salts: [{ job: "elm-2", salt: "1".repeat(64) }, { job: "oak-17", salt: "2".repeat(64) }],
  state: "line\nline\n", receipts: ["{}\n"] };
const customerFile = (change = () => {}) => {
  const value = structuredClone(CUSTOMER_SOUND);
  const line = JSON.stringify(change(value) ?? value);
  return utf8(`${line}\n${sha256Hex(line)}\n`);
};
const customerReason = (bytes) => readCustomerFile(bytes, "me").then(() => "accepted", (fault) => fault.code);

test("a customer file is read, and written back byte for byte", async () => {
  assert.deepEqual(await readCustomerFile(customerFile(), "me"), CUSTOMER_SOUND);
  assert.deepEqual(utf8(await writeCustomerFile(await readCustomerFile(customerFile(), "me"))), customerFile());
  const fresh = newCustomer();
  assert.match(fresh.seed, /^[0-9a-f]{64}$/);
  assert.notEqual(fresh.seed, newCustomer().seed);
  assert.deepEqual(await readCustomerFile(utf8(await writeCustomerFile(fresh)), "me"), { ...fresh, number: 0, salts: [], state: "", receipts: [] });
});

test("every turned bit, cut and added byte of a customer file is refused", async () => {
  const file = customerFile();
  for (let bit = 0; bit < 8 * file.length; ++bit) {
    const bent = file.slice();
    bent[bit >> 3] ^= 1 << (bit & 7);
    assert.equal(await customerReason(bent), "customer-file-invalid", `bit ${bit}`);
  }
  for (let size = 0; size < file.length; ++size) assert.equal(await customerReason(file.subarray(0, size)), "customer-file-invalid");
  assert.equal(await customerReason(Uint8Array.of(...file, 10)), "customer-file-invalid");
});

test("fields of a customer file that do not fit are refused", async () => {
  const rows = [
    (value) => void (value.seed = "15"), (value) => void (value.number = -1), (value) => void (value.number = 2 ** 40 + 1),
    (value) => void value.salts.reverse(), (value) => void (value.salts[1].job = "elm-2"), (value) => void (value.salts[0].salt = ""),
    (value) => void (value.receipts = ["r".repeat(4097)]), (value) => void (value.receipts = big(1001, () => "")),
    (value) => void (value.salts = big(257, (i) => ({ job: `j${String(i).padStart(3, "0")}`, salt: "1".repeat(64) }))),
    (value) => void (value.calseal = "state/1"), (value) => void (value.more = 1), ({ state, ...value }) => ({ ...value, state }),
  ];
  for (const change of rows) assert.equal(await customerReason(customerFile(change)), "customer-file-invalid", String(change));
  assert.equal(await customerReason(customerFile((value) => void (value.number = 2 ** 40))), "accepted");
  assert.equal(await customerReason(customerFile((value) => void (value.state = "s".repeat(2 ** 23)))), "accepted");
  assert.equal(await customerReason(customerFile((value) => void (value.state = "s".repeat(2 ** 23 + 1)))), "customer-file-invalid");
  assert.equal(await customerReason(new Uint8Array(2 ** 24 + 1)), "file-too-large");
});
