// Values of a scan tool (SAE J1979, service 09) against the identity fields of a revision.

import { fromHex, printable, toHex, utf8 } from "./bytes.js";
import { matchSalt } from "./match.js";
import { rangesOverlap, sizeOf } from "./place.js";
import { Refusal } from "./reason.js";
import { saltedDigestOf } from "./salted_digest.js";
import { encodeWord } from "./value.js";

const SCAN_MOST = 64;  // values
const SCAN_VALUE_MOST = 1024;

const withoutBlanks = (text) => text.replace(/^[ \t]+|[ \t]+$/g, "");

// Hexadecimal digits as tools print them: "1A 2B", "0x1a2b", "1a:2b".
function plainDigits(text) {
  return text.replace(/^0x/i, "").replace(/[ :-]/g, "").replace(/[A-F]/g, (letter) => letter.toLowerCase());
}

// Every value that a reported number may mean; verification numbers are reported in hexadecimal, with or without a prefix.
function numbersIn({ kind }, text) {
  const numbers = /^[0-9]+$/.test(text) ? [BigInt(text)] : [];
  const digits = plainDigits(text);
  if ((/^0x/i.test(text) || kind === "verification-number") && /^[0-9a-f]+$/.test(digits)) numbers.push(BigInt(`0x${digits}`));
  return numbers.filter((number) => number < 2n ** 64n);
}

function isSameText(field, said, reported) {
  const text = withoutBlanks(reported);
  if (field.encoding === "ascii") return withoutBlanks(said) === printable(text, SCAN_VALUE_MOST);
  if (field.encoding === "bcd" || field.encoding === "hex") return plainDigits(said) === plainDigits(text);
  return numbersIn(field, text).some((number) => String(number) === said);
}

// The bytes that the field may hold if it has this value.
function bytesFor(field, reported) {
  const size = sizeOf(field.range);
  const text = withoutBlanks(reported);
  if (field.encoding === "ascii") {
    const bytes = utf8(text);
    if (bytes.length > size) return [];
    return [0x00, 0x20, 0xff].map((padding) => Uint8Array.from({ length: size }, (_, i) => bytes[i] ?? padding));
  }
  if (field.encoding === "bcd" || field.encoding === "hex") {
    const bytes = fromHex(plainDigits(text));
    return bytes !== null && bytes.length === size ? [bytes] : [];
  }
  if (size > 8) return [];
  return numbersIn(field, text).filter((number) => number < 2n ** BigInt(8 * size))
    .map((number) => encodeWord(number, size, field.encoding === "integer-little" ? "little" : "big"));
}

function isReversed({ encoding }, said, reported) {
  const bytes = encoding === "hex" ? fromHex(plainDigits(withoutBlanks(reported))) : null;
  return bytes !== null && toHex(bytes.slice().reverse()) === said;
}

function scanMismatch({ name }, words) {
  return new Refusal("scan-mismatch", { place: `scan ${name}`, ...words });
}

async function compareBound({ manifest, map }, field, value, salt, out) {
  const claim = manifest.controllers[0].binding.find(({ name }) => name === field.name);
  if (claim === undefined || claim.digest === "") {
    out.why = "blank in the first read, or sealed without a salt";
    return;
  }
  if (salt === null) {
    out.why = "binds the vehicle: only its salted digest is sealed, so the job's salt is needed";
    return;
  }
  for (const bytes of bytesFor(field, value)) {
    if ((await saltedDigestOf(salt, map, field, bytes)) !== claim.digest) continue;
    out.state = "equal";
    return;
  }
  out.state = "differs";
  // What was found is not repeated: it may be a VIN.
  throw scanMismatch(field, { found: "another value than that of the vehicle this bundle was made for", expected: "the value of the job's own vehicle",
    next: "do not drive: check that the scan is of the vehicle in front of you, and ask the shop" });
}

function isChangedField({ manifest, map }, { memory, range }) {
  return manifest.controllers[0].spans.some((span) =>
    span.memory === map.memories[memory].name && rangesOverlap(span.range, range) && span.before !== span.after);
}

function compareOpen(opened, field, value, out) {
  const said = opened.manifest.controllers[0].identity.find(({ name }) => name === field.name)?.text ?? "";
  if (said === "") {
    out.why = "not known from the first read, blank, or not the same in every vehicle";
    return;
  }
  out.tellsApart = isChangedField(opened, field);
  if (isSameText(field, said, value)) {
    out.state = "equal";
    return;
  }
  out.state = "differs";
  const reversed = isReversed(field, said, value) ? ", which is the sealed value with its bytes in the other order" : "";
  throw scanMismatch(field, { found: `"${printable(withoutBlanks(value))}"${reversed}`, expected: `"${printable(said)}"`,
    next: out.tellsApart
      ? "the controller does not report this revision: nothing was written, or it computes the number anew only after some time with the ignition on; wait, scan again, and if it stays ask the shop"
      : "the controller does not report this revision: scan again, read it back if that is possible, and ask the shop" });
}

// Every value is of a field that there is, and no field has two.
export function checkScanNames({ map }, scan) {
  const usage = (found, expected) => new Refusal("usage", { place: "scan", found, expected, next: "name each identity field of the region map at most once" });
  if (scan.length > SCAN_MOST) throw usage(`${scan.length} values`, `${SCAN_MOST} at most`);
  for (const { name } of scan) {
    if (!map.identity.some((field) => field.name === name)) {
      throw usage(`a value for "${printable(name, 64)}"`, `one of ${map.identity.map((field) => field.name).join(", ")}`);
    }
    if (scan.filter((other) => other.name === name).length > 1) throw usage(`"${printable(name, 64)}" more than once`, "one value a field");
  }
}

// `compared` gets {name, kind, state, tellsApart, why} of each value, and ends with the first that differs. A value that the manifest
// says nothing about is not compared, and `why` says so.
export async function compareScan(opened, scan, salt, compared) {
  await matchSalt({ manifest: opened.manifest, evidence: { salt } });
  for (const { name, value } of scan) {
    const field = opened.map.identity.find((one) => one.name === name);
    const out = { name, kind: field.kind, state: "not-compared", tellsApart: false, why: "" };
    compared.push(out);
    if (field.binds) await compareBound(opened, field, value, salt, out);
    else compareOpen(opened, field, value, out);
  }
}
