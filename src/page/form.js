// How a file holds bytes: raw, Intel HEX or S-record, told from the content; and the same file again with other bytes.
//
// A parsed file is {kind, segments, original, records}: segments {address, bytes} ascending, disjoint, apart.

import { grouped } from "./bytes.js";
import { Refusal } from "./reason.js";
import { Lines, decodeRecord, digitValue, hexPair, RECORD_TEXT_LIMIT, markedAs } from "./record_text.js";
import { parseIntelHex } from "./intel_hex.js";
import { parseSRecord } from "./s_record.js";

const isBlank = (byte) => byte === 0x20 || byte === 0x09;

// The next line that is not blank, without the blanks around it.
function nextFilled(lines) {
  for (let line = lines.next(); line !== undefined; line = lines.next()) {
    const { bytes } = lines;
    while (line.begin < line.end && isBlank(bytes[line.begin])) ++line.begin;
    while (line.begin < line.end && isBlank(bytes[line.end - 1])) --line.end;
    if (line.begin < line.end) return line;
  }
  return undefined;
}

function wholeRecord(text, line) {
  return ["intel-hex", "s-record"].find((kind) => decodeRecord(kind, text, line).fault === undefined);
}

function isMostlyRecordText(file) {
  let count = 0;
  for (let i = 0; i < file.length; ++i) {
    const byte = file[i];
    const counts = digitValue(byte) >= 0 || byte === 0x3a || byte === 0x53 || byte === 0x73 || byte === 13 || byte === 10;
    count += counts ? 1 : 0;
  }
  return 2 * count > file.length;
}

// "raw", "intel-hex" or "s-record". A record file with a damaged byte anywhere keeps its kind and is refused with the line; a
// raw file that happens to begin with ':' or 'S' is raw.
export function recogniseForm(file) {
  if (file[0] === 0xef && file[1] === 0xbb && file[2] === 0xbf) file = file.subarray(3);
  const lines = new Lines(file);
  let line = nextFilled(lines);
  if (line === undefined) return "raw";
  const first = wholeRecord(file, line);
  if (first !== undefined) return first;
  if (!isMostlyRecordText(file)) return "raw";
  let marked;
  for (; line !== undefined; line = nextFilled(lines)) {
    const mark = markedAs(file, line.begin, line.end);
    if (mark === undefined) continue;
    const kind = wholeRecord(file, line);
    if (kind !== undefined) return kind;
    marked ??= mark;
  }
  return marked ?? "raw";
}

export function parseForm(file) {
  if (file.length === 0) {
    throw new Refusal("file-empty", { found: "no bytes", expected: "a controller image",
      next: "Give the file that the read was saved to; if it is this one, read the controller again." });
  }
  const kind = recogniseForm(file);
  if (kind === "raw") return { kind, segments: [{ address: 0, bytes: file }], original: file, records: [] };
  if (file.length > RECORD_TEXT_LIMIT) {
    throw new Refusal("file-too-large", { found: `${grouped(file.length)} bytes of records`,
      expected: `at most ${grouped(RECORD_TEXT_LIMIT)}`, next: "Give the image as a raw file." });
  }
  return kind === "intel-hex" ? parseIntelHex(file) : parseSRecord(file);
}

// Whether the first letter among the digits in [begin, end) is a small one; nothing where there is none.
function isLowerCase(text, begin, end) {
  for (let i = begin; i < end; ++i) {
    if (digitValue(text[i]) >= 10) return text[i] >= 0x61;
  }
  return undefined;
}

// A record file again, with the bytes of `segments`, which are those of the file in address and length: same records, order,
// line ends and letter case; only digits that changed, and the checksums of their records, differ.
export function writeBack(file, segments) {
  const out = file.original.slice();
  const fileCase = isLowerCase(out, 0, out.length) ?? false;
  const byteAt = (at) => digitValue(out[at]) * 16 + digitValue(out[at + 1]);
  const put = (at, value, lower) => {
    if (byteAt(at) === value) return;
    const digits = lower ? hexPair(value).toLowerCase() : hexPair(value);
    for (const i of [0, 1]) {
      if (digitValue(out[at + i]) !== digitValue(digits.charCodeAt(i))) out[at + i] = digits.charCodeAt(i);
    }
  };
  for (const record of file.records) {
    const segment = segmentAt(segments, record.address);
    const wanted = segment.bytes.subarray(record.address - segment.address).subarray(0, record.count);
    let begin = record.dataAt;
    while (begin > 0 && digitValue(file.original[begin - 1]) >= 0) --begin;
    const lower = isLowerCase(file.original, begin, record.checksumAt + 2) ?? fileCase;
    let change = 0;
    for (let i = 0; i < record.count; ++i) {
      const at = record.dataAt + 2 * i;
      change += wanted[i] - byteAt(at);
      put(at, wanted[i], lower);
    }
    // In both forms sum and checksum together are constant.
    put(record.checksumAt, (byteAt(record.checksumAt) - change) & 0xff, lower);
  }
  return out;
}

function segmentAt(segments, address) {
  let low = 0;
  let high = segments.length - 1;
  while (low < high) {
    const middle = (low + high + 1) >>> 1;
    if (segments[middle].address <= address) low = middle;
    else high = middle - 1;
  }
  return segments[low];
}
