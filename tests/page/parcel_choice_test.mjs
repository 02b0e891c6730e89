// What follows from a customer's choices in the view "Send to the shop".
import assert from "node:assert/strict";
import { test } from "node:test";

import "./platform.mjs";
import { agreementPair, openParcel } from "../../src/page/hpke.js";
import { readCustomerFile } from "../../src/page/customer_file.js";
import { readParcel } from "../../src/page/parcel.js";
import { cautionsToAccept, guessPlace, missingBefore, optionProblems, seriesOf, statedBy, wantedReads } from "../../src/page/parcel_choice.js";
import { lookAtFiles, packParcel } from "../../src/page/parcel_work.js";
import { sizeText } from "../../src/page/amounts.js";
import { WORDS } from "../../src/page/words.js";
import { readSheet } from "../../src/page/sheet.js";
import { readTrustFile } from "../../src/page/trust.js";
import { image, PARCEL_SECRET, sheetFile, trustFile } from "./parcel_shop.mjs";

const trust = await readTrustFile(new Uint8Array(trustFile()), "", "shop.trust");
const sheet = await readSheet(new Uint8Array(sheetFile()), trust, "shop.sheet");
const engine = (memory) => ({ controller: "engine", memory });
const transmission = { controller: "transmission", memory: "flash" };
const nowhere = { controller: "", memory: "" };

test("a file's size says what it is a read of", () => {
  assert.deepEqual(guessPlace(1048576, sheet.reads, []), engine("flash"));
  assert.deepEqual(guessPlace(1048576, sheet.reads, [engine("flash")]), engine("flash"), "the second read");
  assert.deepEqual(guessPlace(32768, sheet.reads, [engine("flash")]), engine("eeprom"));
  assert.deepEqual(guessPlace(524288, sheet.reads, []), transmission);
  assert.deepEqual(guessPlace(1000000, sheet.reads, []), nowhere);
  assert.deepEqual(guessPlace(1048576, [], []), nowhere);
  const alike = [{ controller: "a", title: "", again: true, memories: [{ name: "x", size: 8 }, { name: "y", size: 8 }] }];
  const taken = [];
  for (let i = 0; i < 5; ++i) taken.push(guessPlace(8, alike, taken));
  assert.deepEqual(taken.map(({ memory }) => memory).join(""), "xyxyx", "first all of them, then all of them again");
  assert.deepEqual(guessPlace(7, alike, []), { controller: "a", memory: "" });
  assert.deepEqual(guessPlace(7, [{ ...alike[0], memories: [{ name: "x", size: 8 }] }], []), { controller: "a", memory: "x" }, "so that a read that is cut off is told by its size");
  assert.deepEqual(guessPlace(0, [{ ...alike[0], memories: [{ name: "x", size: 0 }, { name: "y", size: 0 }] }], []), { controller: "a", memory: "" });
});

test("series are counted for each memory, in the order of the list", () => {
  assert.deepEqual(seriesOf([engine("flash"), engine("eeprom"), engine("flash"), nowhere, nowhere, transmission, engine("flash")]), [1, 1, 2, 1, 1, 1, 3]);
  assert.deepEqual(wantedReads(sheet.reads, [engine("flash"), engine("flash"), nowhere]).map(({ count }) => count), [2, 0, 0]);
});

test("options say what they lack and what they clash with", () => {
  const problems = (name, order, answers) => optionProblems(sheet.options.find((one) => one.name === name), order, statedBy(sheet.questions, new Map(answers)));
  assert.deepEqual(problems("second-fan", ["second-fan"], []), { lacks: ["large-cooler"], clashes: [] });
  assert.deepEqual(problems("second-fan", ["second-fan"], [["cooler", "large-cooler"]]), { lacks: [], clashes: [] });
  assert.deepEqual(problems("sport", ["sport", "towing"], []), { lacks: [], clashes: ["towing"] });
  assert.deepEqual(problems("towing", ["towing"], [["fuel", "e85"]]), { lacks: [], clashes: ["e85"] });
  assert.deepEqual(problems("towing", ["towing"], [["mass", "e85"]]), { lacks: [], clashes: [] }, "a question that states nothing");
});

test("the sheet's cautions come first, then those of the order, each once", () => {
  const end = "A changed calibration can end warranty, type approval and insurance.";
  assert.deepEqual(cautionsToAccept(sheet, []), [end]);
  assert.deepEqual(cautionsToAccept(sheet, ["sport", "second-fan"]), [end, "The fan draws 20 A; its fuse must stand that.", "Shifts are felt."]);
  const twice = { ...sheet, options: sheet.options.map((one) => ({ ...one, cautions: [end] })) };
  assert.deepEqual(cautionsToAccept(twice, ["sport"]), [end]);
});

test("what is missing is named, all of it", () => {
  const choice = { reads: 0, logs: 0, files: [], series: [], order: [], answers: new Map(), accepted: new Set(), words: "", vehicle: "", canClose: true, sendOpen: false };
  const kinds = (more, of = null) => missingBefore({ ...choice, ...more }, of).map(({ kind, what }) => (what === undefined ? kind : `${kind} ${what}`));
  assert.deepEqual(kinds({}), ["nothing"]);
  for (const more of [{ reads: 1 }, { logs: 1 }, { words: "x" }, { order: ["sport"] }]) assert.deepEqual(kinds(more), []);
  assert.deepEqual(kinds({ reads: 65, logs: 65, series: [17], words: "€".repeat(21846), vehicle: "v".repeat(201) }),
    ["many reads", "many logs", "many series", "long words", "long vehicle"]);
  assert.deepEqual(kinds({ reads: 64, logs: 64, series: [16], words: "€".repeat(21845), vehicle: "v".repeat(200) }), []);
  assert.deepEqual(kinds({ reads: 1 }, sheet), ["question", "cautions"]);
  assert.deepEqual(kinds({ order: ["towing"] }, sheet), ["question", "cautions"]);
  for (const more of [{ words: "x" }, { logs: 1 }]) assert.deepEqual(kinds(more, sheet), [], "no read and no order: nothing new is asked");
  assert.deepEqual(kinds({ logs: 1, order: ["sport"], accepted: new Set(sheet.cautions.slice(0, 1)) }, sheet).includes("cautions"), true);
  const done = { words: "x", answers: new Map([["fuel", "e85"]]), accepted: new Set(sheet.cautions) };
  assert.deepEqual(kinds(done, sheet), []);
  assert.deepEqual(kinds({ ...done, order: ["sport"] }, sheet), ["cautions"]);
  assert.deepEqual(kinds({ ...done, answers: new Map([...done.answers, ["noise", "n".repeat(4097)]]) }, sheet), ["long answer-noise"]);
  const files = (...sizes) => ({ logs: 1, files: sizes.map((size, i) => ({ name: `f${i}`, size })) });
  assert.deepEqual(kinds(files(2 ** 28, 2 ** 28)), []);
  assert.deepEqual(kinds(files(2 ** 28 + 1, 2 ** 28)), ["large f0", "together"]);
  assert.deepEqual(kinds(files(2 ** 28, 2 ** 28, 1)), ["together"]);
  const closed = { ...sheet, parcel_key: "09" };
  assert.deepEqual(kinds({ ...done, canClose: false }, closed), ["close"]);
  assert.deepEqual(kinds({ ...done, canClose: false, sendOpen: true }, closed), []);
  assert.deepEqual(kinds({ ...done, canClose: false }, sheet), [], "a sheet that asks for no closed parcels");
});

test("every code has its words, and sizes are short", () => {
  const facts = { size: 5, wanted: 9, others: ["a", "b", "c"] };
  for (const code of ["blank", "cut-off", "differs", "empty", "repeated", "same", "size"]) {
    assert.ok(WORDS.parcel.look[code](facts).length > 10 && WORDS.parcel.seen[code].length > 4, code);
  }
  assert.match(WORDS.parcel.look.same(facts), /as a, b and c, /);
  assert.deepEqual([0, 1, 9999, 10000, 2 ** 20, 50000000].map(sizeText), ["0 bytes", "1 byte", "9,999 bytes", "10 KiB", "1.0 MiB", "47.7 MiB"]);
});

// Packing, as the worker does it.

const fileOf = (name, bytes) => ({ name, size: bytes.length, arrayBuffer: async () => bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.length) });
const gone = { name: "gone.bin", size: 4, arrayBuffer: () => Promise.reject(new Error("NotReadableError")) };
const CUSTOMER = { calseal: "customer/1", seed: "15".repeat(32), number: 7, salts: [], state: "", receipts: ["kept"] };
const flash = image(1048576, 1);
const wish = {
  claimedTime: "2030-05-02T00:00:00Z", root: trust.rootId, sheet: sheet.digest, job: "", vehicleReference: "", words: "", order: ["sport"], answers: [], accepted: ["Shifts are felt."],
  reads: [{ file: fileOf("a.bin", flash), ...engine("flash"), series: 1 }, { file: fileOf("b.bin", flash.subarray(0, 700001)), ...nowhere, series: 1 }],
  logs: [{ file: fileOf("x\u202ey.csv", Buffer.from("a,b\n")), revision: "" }], tool: "calseal (page)",
};

test("a parcel is packed with the next number, and says what was seen", async () => {
  const steps = [];
  const made = await packParcel({ wish, customer: CUSTOMER, parcelKey: "", wanted: sheet.reads }, (...step) => steps.push(step));
  assert.equal(made.refused, undefined);
  const { parcel, contents } = await readParcel(made.bytes, "p", { roots: [trust.rootId], sheet });
  assert.equal(parcel.number, 8);
  assert.deepEqual(parcel.findings, [{ entry: "reads/2.bin", code: "cut-off" }]);
  assert.deepEqual(parcel.logs.map((log) => log.file_name), ["x_y.csv"]);
  assert.deepEqual(Buffer.from(contents[0]), flash);
  assert.deepEqual(await readCustomerFile(new TextEncoder().encode(made.customerText), "me"), { ...CUSTOMER, number: 8 });
  assert.deepEqual(steps, [["packing", [0, 3]], ["packing", [1, 3]], ["packing", [2, 3]]]);
});

test("with a key of the shop it is closed, and only its holder opens it", async () => {
  const closed = await readSheet(new Uint8Array(sheetFile({ closed: true })), trust, "shop.sheet");
  const made = await packParcel({ wish, customer: CUSTOMER, parcelKey: closed.parcel_key, wanted: [] });
  assert.equal(Buffer.from(made.bytes).indexOf("parcel.json"), -1);
  const opened = await openParcel(made.bytes, await agreementPair(new Uint8Array(PARCEL_SECRET)), "p");
  assert.equal((await readParcel(opened, "p")).parcel.number, 8);
});

test("a file that is gone is named, and nothing else happens", async () => {
  const reads = [...wish.reads, { file: gone, ...nowhere, series: 1 }];
  assert.deepEqual(await lookAtFiles({ reads, wanted: sheet.reads }), [[], ["cut-off"], null]);
  const made = await packParcel({ wish: { ...wish, reads }, customer: CUSTOMER, parcelKey: "", wanted: [] });
  assert.deepEqual([made.refused.code, made.refused.file], ["file-unreadable", "gone.bin"]);
});

test("what a reader would refuse is not packed", async () => {
  const made = await packParcel({ wish: { ...wish, sheet: "" }, customer: CUSTOMER, parcelKey: "", wanted: [] });
  assert.equal(made.refused.code, "parcel-invalid");
  assert.equal(made.bytes, undefined);
  const worn = await packParcel({ wish, customer: { ...CUSTOMER, number: 2 ** 40 }, parcelKey: "", wanted: [] });
  assert.equal(worn.refused.code, "parcel-invalid");
});
