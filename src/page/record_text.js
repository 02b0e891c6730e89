// What the two record forms share: lines, digits, and bytes gathered from records. The rules are those of docs/region-map.md
// and of the forms' own standards; a record file is read strictly or refused.
//
// A line is {number, begin, end}; a record {address, dataAt, checksumAt, count}: offsets of digits in the text.

import { grouped, printable, rangeText, latin1 } from "./bytes.js";
import { Refusal } from "./reason.js";

export const RECORD_TEXT_LIMIT = 2 ** 30;  // bytes

const DIGIT_VALUES = new Int8Array(256).fill(-1);
for (let value = 0; value < 16; ++value) {
  DIGIT_VALUES["0123456789abcdef".charCodeAt(value)] = value;
  DIGIT_VALUES["0123456789ABCDEF".charCodeAt(value)] = value;
}
const LINE_FEED = 10;
const CARRIAGE_RETURN = 13;
const EXPORT_AGAIN = "The file is damaged: export it again, or read the controller again.";

// 0 to 15, or -1 for what is not a hexadecimal digit.
export function digitValue(byte) {
  return DIGIT_VALUES[byte];
}

function isDecimalDigit(byte) {
  return byte >= 0x30 && byte <= 0x39;
}

export function hexDigits(value, digits) {
  return value.toString(16).toUpperCase().padStart(digits, "0");
}

const UPPER_PAIRS = Array.from({ length: 256 }, (_, byte) => hexDigits(byte, 2));

export function hexPair(byte) {
  return UPPER_PAIRS[byte];
}

// The lines of a text, ended by LF, CR LF or CR; no empty line after a final line end.
export class Lines {
  constructor(bytes) {
    this.bytes = bytes;
    this.at = 0;
    this.number = 0;
  }

  // The next line, or nothing.
  next() {
    const { bytes } = this;
    if (this.at === bytes.length) return undefined;
    const begin = this.at;
    let end = begin;
    while (end < bytes.length && bytes[end] !== LINE_FEED && bytes[end] !== CARRIAGE_RETURN) ++end;
    this.at = end;
    if (end < bytes.length) this.at += bytes[end] === CARRIAGE_RETURN && bytes[end + 1] === LINE_FEED ? 2 : 1;
    return { number: ++this.number, begin, end };
  }
}

export function lineRefusal(number, code, found, expected, next = EXPORT_AGAIN) {
  return new Refusal(code, { place: `line ${number}`, found, expected, next });
}

// "intel-hex" or "s-record", whose mark begins the bytes from `begin` on: ':' or 'S' and a decimal digit.
export function markedAs(bytes, begin, end) {
  if (begin === end) return undefined;
  if (bytes[begin] === 0x3a) return "intel-hex";
  const isS = bytes[begin] === 0x53 || bytes[begin] === 0x73;
  return isS && begin + 1 < end && isDecimalDigit(bytes[begin + 1]) ? "s-record" : undefined;
}

const RECORD_FORMS = {
  "intel-hex": { markSize: 1, extra: 5, sum: 0, mark: "\":\"" },
  "s-record": { markSize: 2, extra: 1, sum: 0xff, mark: "\"S\" and a decimal digit" },
};

// A record's bytes, from its count to its checksum: checks mark, digits, length and checksum, but not type or address.
// Gives {bytes, size}, or {fault} for the caller to throw. `bytes` is one buffer, used again by the next call.
const RECORD_BYTES = new Uint8Array(260);
export function decodeRecord(kind, text, line) {
  const { markSize, extra, sum, mark } = RECORD_FORMS[kind];
  const fault = (code, found, expected) => ({ fault: lineRefusal(line.number, code, found, expected) });
  if (markedAs(text, line.begin, line.end) !== kind) {
    const shown = printable(latin1(text.subarray(line.begin, Math.min(line.end, line.begin + 16))), 24);
    return fault("record-malformed", `a line that begins with "${shown}"`, mark);
  }
  const begin = line.begin + markSize;
  const length = line.end - begin;
  let expected = 2;
  for (let at = 0; at < length && at < expected; ++at) {
    const value = DIGIT_VALUES[text[begin + at]];
    if (value < 0) {
      const shown = printable(latin1(text.subarray(begin + at, begin + at + 1)), 8);
      return fault("record-malformed", `"${shown}" in column ${markSize + at + 1}`, "a hexadecimal digit");
    }
    RECORD_BYTES[at >> 1] = at % 2 === 0 ? value : RECORD_BYTES[at >> 1] * 16 + value;
    if (at === 1) expected = 2 * (RECORD_BYTES[0] + extra);
  }
  if (length !== expected) {
    return fault("record-malformed", `${grouped(length)} characters after the mark`,
      length < 2 ? "a count of two digits and what it counts" : `${expected}, as the record's count says`);
  }
  const size = expected / 2;
  if (size < 2) return fault("record-malformed", "a count of 0", "at least the checksum's byte");
  let total = 0;
  for (let i = 0; i < size; ++i) total += RECORD_BYTES[i];
  if ((total & 0xff) !== sum) {
    const stored = RECORD_BYTES[size - 1];
    return fault("record-checksum", `checksum 0x${hexDigits(stored, 2).toLowerCase()}`,
      `0x${hexDigits((stored - total + sum) & 0xff, 2).toLowerCase()} for these digits`);
  }
  return { bytes: RECORD_BYTES, size };
}

// `length` bytes at `at`, most significant first.
export function recordNumber(bytes, at, length) {
  let value = 0;
  for (let i = 0; i < length; ++i) value = value * 256 + bytes[at + i];
  return value;
}

// Calls `onRecord(line)`, which gives true for the end record, for each line up to it.
export function readRecordLines(text, onRecord) {
  const lines = new Lines(text);
  let ended = false;
  let number = 0;
  for (let line = lines.next(); line !== undefined; line = lines.next()) {
    number = line.number;
    const isEmpty = line.begin === line.end;
    if (isEmpty && ended) continue;
    if (isEmpty) {
      throw lineRefusal(number, "record-malformed", "an empty line", "a record in every line",
        "Remove empty lines before the end record, or export the file again.");
    }
    if (ended) {
      throw lineRefusal(number, "record-after-end", "more text after the end record", "nothing but line ends",
        "Two files may have been joined: export the file again, or read the controller again.");
    }
    ended = onRecord(line);
  }
  return { ended, lines: number };
}

// Line numbers are not kept for each record, so the rare error counts them.
function lineNumberAt(text, offset) {
  const lines = new Lines(text);
  let number = 0;
  for (let line = lines.next(); line !== undefined && line.begin <= offset; line = lines.next()) number = line.number;
  return number;
}

const endOfRecord = (record) => record.address + record.count;

// Completes a record file whose lines are all good.
export function gatherRecords(kind, text, records, ending) {
  const sorted = records.map((record, index) => ({ record, index }))
    .sort((a, b) => a.record.address - b.record.address || a.index - b.index);
  for (let i = 1; i < sorted.length; ++i) {
    const low = sorted[i - 1].record;
    const high = sorted[i].record;
    if (endOfRecord(low) <= high.address) continue;
    const [first, second] = sorted[i - 1].index < sorted[i].index ? [low, high] : [high, low];
    const twice = { begin: high.address, end: Math.min(endOfRecord(low), endOfRecord(high)) };
    throw lineRefusal(lineNumberAt(text, second.dataAt), "record-overlap",
      `${rangeText(twice)} again, after line ${lineNumberAt(text, first.dataAt)}`, "each address once",
      "Export the file again without overlapping records.");
  }
  if (!ending.ended) {
    throw lineRefusal(ending.lines, "record-end-missing", "the end of the file after this line", "an end record",
      "The file is cut off: copy it again whole, or export it again.");
  }
  const segments = [];
  for (let i = 0; i < sorted.length;) {
    const begin = sorted[i].record.address;
    let end = begin;
    let past = i;
    while (past < sorted.length && sorted[past].record.address === end) end = endOfRecord(sorted[past++].record);
    const bytes = new Uint8Array(end - begin);
    let at = 0;
    for (; i < past; ++i) {
      const { dataAt, checksumAt } = sorted[i].record;
      for (let digit = dataAt; digit < checksumAt; digit += 2) {
        bytes[at++] = DIGIT_VALUES[text[digit]] * 16 + DIGIT_VALUES[text[digit + 1]];
      }
    }
    segments.push({ address: begin, bytes });
  }
  return { kind, segments, original: text, records };
}
