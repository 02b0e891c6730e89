// The parcel from the customer: its fields, how it is written, and how it is read and judged. docs/parcel.md; the steps of
// readParcel() are those of "Order of checks".

import { concatBytes, grouped, latin1, printable, utf8 } from "./bytes.js";
import { checkEntrySizes } from "./consistency.js";
import { customerKey, PARCEL_NUMBER_MOST } from "./customer_file.js";
import { crc32, sha256 } from "./digest.js";
import { feedStream, readContent, verifyStoredDigests } from "./entries.js";
import { centralHeader, endRecord, layOut, localHeader, signatureName, verifyFraming } from "./framing.js";
import { checkKey, keyId, verifySignature } from "./key.js";
import { CONTENT_SIZE_MOST, MANIFEST_ENTRY } from "./manifest.js";
import { MANIFEST_MOST, PARCEL_FRAME, readPrefix } from "./prefix.js";
import { Refusal } from "./reason.js";
import {
  canonicalText, integerOf, isAscending, LINE, listOf, MAYBE_DIGEST, MAYBE_NAME, NAME, objectOf, readCanonicalAs, TEXT, textOf, TIME,
  VALUE,
} from "./schema.js";
import { SPOKEN, spokenCode } from "./spoken_code.js";
import { PUBLIC_KEY } from "./trust.js";

export const PARCEL_FILES_MOST = 64; // reads, and logs
export const SERIES_MOST = 16;
export const ANSWER_MOST = 4096;
const ORDER_MOST = 256;
const FINDINGS_MOST = 448; // seven for each read
const DEFLATE_PIECE = 2 ** 18;

const PARCEL = objectOf(
  ["calseal", VALUE],
  ["key", PUBLIC_KEY],
  ["number", integerOf(1, PARCEL_NUMBER_MOST)],
  ["claimed_time", TIME],
  ["root", MAYBE_DIGEST],
  ["sheet", MAYBE_DIGEST],
  ["job", MAYBE_NAME],
  ["vehicle_reference", LINE],
  ["words", TEXT],
  ["order", listOf(NAME, ORDER_MOST)],
  ["answers", listOf(objectOf(["question", NAME], ["answer", textOf(ANSWER_MOST)]), 64)],
  ["accepted", listOf(LINE, 1024)],
  ["reads", listOf(objectOf(
    ["entry", LINE], ["controller", MAYBE_NAME], ["memory", MAYBE_NAME], ["series", integerOf(1, SERIES_MOST)], ["file_name", LINE],
  ), PARCEL_FILES_MOST)],
  ["logs", listOf(objectOf(["entry", LINE], ["revision", MAYBE_DIGEST], ["file_name", LINE]), PARCEL_FILES_MOST)],
  ["findings", listOf(objectOf(["entry", LINE], ["code", NAME]), FINDINGS_MOST)],
  ["tool", LINE],
  ["entries", listOf(MANIFEST_ENTRY, 2 * PARCEL_FILES_MOST)],
);

// Of the one reason that a parcel's own contradictions give.
function demandOf(name) {
  return (holds, place, found, expected) => {
    if (holds) return;
    throw new Refusal("parcel-invalid", { file: name, place, found, expected, next: "ask the customer to make and send the parcel again" });
  };
}

function otherParcel(name, place, found, expected, next) {
  return new Refusal("parcel-other", { file: name, place, found, expected, next });
}

// What must fit together.

function checkOrdered({ sheet, order, answers, accepted }, demand) {
  demand(isAscending(order), "/order", "a name out of order or twice", "ascending, each once");
  demand(new Set(answers.map(({ question }) => question)).size === answers.length, "/answers", "a question twice", "each question once");
  demand(answers.every(({ answer }) => answer !== ""), "/answers", "an empty answer", "answers that say something");
  const needsNone = order.length + answers.length + accepted.length === 0;
  demand(sheet !== "" || needsNone, "/sheet", "an order, an answer or a caution without a sheet", "the sheet's digest");
}

function checkReads({ reads }, demand) {
  const seen = new Set();
  for (const [i, { controller, memory, series }] of reads.entries()) {
    const keyOf = (number) => [controller, memory, number].join(" ");
    demand(memory === "" || !seen.has(keyOf(series)), `/reads/${i}`, `${keyOf(series)} twice`, "another series for each read of a memory");
    demand(series === 1 || seen.has(keyOf(series - 1)), `/reads/${i}/series`, String(series), `a read of series ${series - 1} before it`);
    seen.add(keyOf(series));
  }
}

function entryNames({ reads, logs }) {
  return [...reads.map((_, i) => `reads/${i + 1}.bin`), ...logs.map((_, i) => `logs/${i + 1}.log`)];
}

function checkEntries(parcel, demand) {
  const names = entryNames(parcel);
  const given = [...parcel.reads, ...parcel.logs].map(({ entry }) => entry);
  const wrong = names.findIndex((name, i) => name !== given[i] || name !== parcel.entries[i]?.name);
  demand(wrong < 0, `/entries/${wrong}`, printable(parcel.entries[wrong]?.name ?? "no entry"), names[wrong]);
  demand(parcel.entries.length === names.length, `/entries/${names.length}`, "one more entry", "the reads, then the logs");
  checkEntrySizes(parcel.entries, demand);
}

function checkFindings({ reads, findings }, demand) {
  const places = findings.map(({ entry, code }) => [reads.findIndex((read) => read.entry === entry), code]);
  const follows = ([place, code], i) => i === 0 || places[i - 1][0] < place || (places[i - 1][0] === place && places[i - 1][1] < code);
  demand(places.every(([place]) => place >= 0), "/findings", "an entry that is no read", "entries of reads");
  demand(places.every(follows), "/findings", "out of order or twice", "reads in their order, codes of one read ascending");
}

function checkTogether(parcel, name) {
  const demand = demandOf(name);
  checkOrdered(parcel, demand);
  checkReads(parcel, demand);
  checkEntries(parcel, demand);
  checkFindings(parcel, demand);
  const holds = parcel.reads.length + parcel.logs.length + parcel.order.length > 0 || parcel.words !== "";
  demand(holds, "the whole parcel", "nothing", "a read, a log, a word or an order");
}

// Reading.

// Steps 2d to 2f and 3: the key, told from the first bytes alone, and its signature. Gives the key's id.
async function verifyCustomer({ manifest, signatures, end }, name) {
  const demand = demandOf(name);
  demand(signatures.length === 1, `byte ${end}`, `${signatures.length} signatures`, "exactly one, by the customer");
  const begins = latin1(manifest.subarray(0, 200));
  const key = /^\{"calseal":"parcel\/1","key":"([0-9a-f]{64})",/.exec(begins)?.[1];
  if (key === undefined) {
    demand(!begins.startsWith('{"calseal":"parcel/1",'), "parcel.json", `"${printable(begins, 120)}"`, '{"calseal":"parcel/1","key":"…",');
    const isLater = begins.startsWith('{"calseal":"parcel/');
    throw new Refusal(isLater ? "format-unknown" : "type-wrong", {
      file: name, place: "parcel.json", found: `"${printable(begins, 60)}"`, expected: '{"calseal":"parcel/1","key":"…",',
      next: isLater ? "use a newer reader for this file" : "check that this is the right file for this place",
    });
  }
  const [signature] = signatures;
  const id = await keyId(key);
  demand(id === signature.keyId, signatureName(signature.keyId), signature.keyId, `${id}, the key in parcel.json`);
  checkKey(key, name);
  if (await verifySignature(key, manifest, signature.signature)) return id;
  throw new Refusal("signature-bad", {
    file: name, place: signatureName(id), found: "a signature that does not verify", expected: "the customer's signature over parcel.json",
    next: "do not use this file; ask the customer for a new copy",
  });
}

// Step 8. `roots` are the trust file's root and those that it succeeded.
function judgeShop({ root }, roots, name) {
  if (roots === null || root === "" || roots.includes(root)) return;
  throw otherParcel(name, "/root", spokenCode(SPOKEN.key, root), spokenCode(SPOKEN.key, roots.at(-1)), "ask the customer which shop he meant it for");
}

// Step 10. `job` is {job, vehicleReference}.
function judgeParcelJob(parcel, job, name) {
  if (job === null) return;
  for (const [field, expected] of [["job", job.job], ["vehicle_reference", job.vehicleReference]]) {
    if (["", expected].includes(parcel[field]) || (field === "vehicle_reference" && expected === "")) continue;
    throw otherParcel(name, `/${field}`, printable(parcel[field]), printable(expected), "take it into the job that it is for");
  }
}

// Steps 11 and 12. `customer` is {known, changed, newest}: the key of the job's newest parcel, whether a person says that the customer
// changed it, and the highest number so far by key.
async function judgeCustomer({ key, number }, customer, name) {
  if (customer === null) return;
  if (key !== customer.known && !customer.changed) {
    const [found, expected] = [spokenCode(SPOKEN.key, await keyId(key)), spokenCode(SPOKEN.key, await keyId(customer.known))];
    throw otherParcel(name, "/key", found, expected, "ask the customer by voice whether this is his key now, and compare its code");
  }
  const newest = customer.newest[key] ?? 0;
  if (number > newest) return;
  throw new Refusal("parcel-old", {
    file: name, place: "/number", found: String(number), expected: `above ${newest}`, next: "use the newest parcel; ask the customer for it",
  });
}

// Checks 1 to 6: everything but the contents. Gives {prefix, parcel, keyId, storedBytes}.
export async function openStored(bytes, name) {
  const prefix = readPrefix(bytes, name, PARCEL_FRAME);
  const id = await verifyCustomer(prefix, name);
  const parcel = readCanonicalAs("parcel-invalid", prefix.manifest, PARCEL, name);
  checkTogether(parcel, name);
  const storedBytes = verifyFraming(bytes, prefix, parcel, name);
  await verifyStoredDigests(storedBytes, parcel, name);
  return { prefix, parcel, keyId: id, storedBytes };
}

// Gives {parcel, digest, keyId, contents, cautions}: `contents` are those of `entries`. `context` is {roots, sheet, job, customer}, each
// null where there is nothing to compare with; `sheet` is readSheet()'s.
export async function readParcel(bytes, name, { roots = null, sheet = null, job = null, customer = null } = {}) {
  const { prefix, parcel, keyId: id, storedBytes } = await openStored(bytes, name);
  const contents = [];
  for (const [i, entry] of parcel.entries.entries()) contents.push(await readContent(storedBytes[i], entry, name));
  judgeShop(parcel, roots, name);
  const cautions = [];
  if (sheet !== null && !["", sheet.digest].includes(parcel.sheet)) {
    cautions.push({ code: "sheet-other", text: "it was made with another sheet: options and questions may be others" });
  }
  judgeParcelJob(parcel, job, name);
  await judgeCustomer(parcel, customer, name);
  return { parcel, digest: await sha256(prefix.manifest), keyId: id, contents, cautions };
}

// Writing.

// The last part of a file's name, without what a reader cannot see.
export function cleanFileName(text) {
  let out = "";
  let size = 0;
  for (const character of text.replace(/^.*[\\/]/s, "").replace(/[\p{Cc}\p{Cf}\p{Cs}]/gu, "_")) {
    size += utf8(character).length;
    if (size > 200) break;
    out += character;
  }
  return out;
}

// `bytes` themselves where deflating does not make them shorter, or this browser cannot do it: stored is always allowed.
async function tryDeflate(bytes) {
  let stream;
  try {
    stream = new CompressionStream("deflate-raw");
  } catch {
    return bytes;
  }
  const fed = feedStream(stream.writable, bytes, DEFLATE_PIECE);
  const reader = stream.readable.getReader();
  const pieces = [];
  let total = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    total += value.length;
    if (total < bytes.length) pieces.push(value);
  }
  await fed;
  return total < bytes.length ? concatBytes(pieces) : bytes;
}

async function packEntry(name, content, deflate) {
  if (content.length > CONTENT_SIZE_MOST) {
    throw new Refusal("file-too-large", {
      file: name, found: `${grouped(content.length)} bytes`, expected: `at most ${grouped(CONTENT_SIZE_MOST)} bytes`, next: "leave this file out",
    });
  }
  const [packed, digest] = await Promise.all([deflate && content.length > 0 ? tryDeflate(content) : content, sha256(content)]);
  const deflated = packed.length < content.length;
  const stored = deflated ? packed : content;
  const entry = {
    name, method: deflated ? "deflated" : "stored", stored_size: stored.length, stored_digest: deflated ? await sha256(stored) : digest,
    size: content.length, crc32: crc32(content), digest,
  };
  return { entry, stored };
}

function listFindings(reads) {
  return reads.flatMap(({ codes = [] }, i) => codes.map((code) => ({ entry: `reads/${i + 1}.bin`, code })));
}

// `wish` is {seed, number, claimedTime, root, sheet, job, vehicleReference, words, order, answers, accepted, reads, logs, tool}: fields as
// in parcel.json; a read {controller, memory, series, fileName, bytes, codes}, a log {revision, fileName, bytes}. The same wish gives the
// same bytes where nothing is deflated. Gives {bytes, parcel, keyId}; `onEntry(i, count)` is called before each file.
export async function makeParcel(wish, { deflate = true, onEntry = () => {} } = {}) {
  const files = [...wish.reads, ...wish.logs];
  const names = entryNames(wish);
  const packed = [];
  for (const [i, { bytes }] of files.entries()) {
    onEntry(i, files.length);
    packed.push(await packEntry(names[i], bytes, deflate));
  }
  const key = await customerKey(wish.seed);
  const parcel = {
    calseal: "parcel/1", key: key.publicKey, number: wish.number, claimed_time: wish.claimedTime, root: wish.root, sheet: wish.sheet,
    job: wish.job, vehicle_reference: wish.vehicleReference, words: wish.words, order: [...wish.order].sort(), answers: wish.answers,
    accepted: [...new Set(wish.accepted)],
    reads: wish.reads.map(({ controller, memory, series, fileName }, i) =>
      ({ entry: names[i], controller, memory, series, file_name: cleanFileName(fileName) })),
    logs: wish.logs.map(({ revision, fileName }, i) =>
      ({ entry: names[wish.reads.length + i], revision, file_name: cleanFileName(fileName) })),
    findings: listFindings(wish.reads), tool: wish.tool, entries: packed.map(({ entry }) => entry),
  };
  return sealParcel(parcel, packed.map(({ stored }) => stored), key);
}

// Everything that a reader would refuse is refused before it is signed.
async function sealParcel(parcel, stored, key) {
  const text = utf8(canonicalText(PARCEL, parcel));
  if (text.length > MANIFEST_MOST) {
    throw new Refusal("file-too-large", {
      file: "parcel.json", found: `${grouped(text.length)} bytes`, expected: `at most ${grouped(MANIFEST_MOST)} bytes`, next: "write less",
    });
  }
  checkTogether(readCanonicalAs("parcel-invalid", text, PARCEL, "parcel.json"), "parcel.json");
  const id = await keyId(key.publicKey);
  const signature = await key.sign(text);
  const { entries, end } = layOut({ frame: PARCEL_FRAME, manifest: text, signatures: [{ keyId: id, signature }] }, parcel);
  const contents = [text, signature, ...stored];
  const directory = concatBytes(entries.map(centralHeader));
  const parts = entries.flatMap((entry, i) => [localHeader(entry), contents[i]]);
  return { bytes: concatBytes([...parts, directory, endRecord(entries.length, directory.length, end)]), parcel, keyId: id };
}

// A fingerprint to be read to the shop.
export function customerFingerprint(id) {
  return spokenCode(SPOKEN.key, id);
}
