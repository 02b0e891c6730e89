// Motorola's format as in public descriptions of types S0 to S9.

import { addressText, grouped } from "./bytes.js";
import { decodeRecord, digitValue, gatherRecords, hexDigits, hexPair, lineRefusal, readRecordLines, recordNumber } from "./record_text.js";

const ADDRESS_LENGTHS = [2, 2, 3, 4, 0, 2, 3, 4, 3, 2];  // by type; S5 and S6: their number

const isDataType = (type) => type >= 1 && type <= 3;
const isCountType = (type) => type === 5 || type === 6;
const isEndType = (type) => type >= 7;
const endTypeOf = (dataType) => 10 - dataType;

class SRecordReader {
  constructor(text) {
    this.text = text;
    this.dataType = 0;  // 0: none yet
    this.dataRecords = 0;
    this.records = [];
  }

  // True for the end record.
  read(line) {
    const { fault, bytes } = decodeRecord("s-record", this.text, line);
    if (fault !== undefined) throw fault;
    const type = digitValue(this.text[line.begin + 1]);
    this.checkType(line, type);
    this.checkLength(line, bytes, type);
    if (isDataType(type)) this.addData(line, bytes, type);
    if (isCountType(type)) this.checkCount(line, bytes, type);
    return isEndType(type);
  }

  checkType(line, type) {
    const refuse = (expected) => {
      throw lineRefusal(line.number, "record-type", `S${type}`, expected,
        "Export the file again with one type of data record and its own end record.");
    };
    if (type === 4) refuse("no reserved type");
    if (type === 0 && line.number !== 1) refuse("a header in the first line only");
    if (isDataType(type)) {
      if (this.dataType !== 0 && type !== this.dataType) refuse(`S${this.dataType}, as the data records before`);
      this.dataType = type;
    }
    if (isEndType(type) && this.dataType !== 0 && type !== endTypeOf(this.dataType)) {
      refuse(`S${endTypeOf(this.dataType)}, which ends a file of S${this.dataType}`);
    }
  }

  checkLength(line, bytes, type) {
    const least = ADDRESS_LENGTHS[type] + 1;
    const mayBeLonger = type === 0 || isDataType(type);
    if (bytes[0] === least || (bytes[0] > least && mayBeLonger)) return;
    throw lineRefusal(line.number, "record-malformed", `a count of ${bytes[0]} in S${type}`,
      (mayBeLonger ? "at least " : "") + least, "Export the file again as plain S-records.");
  }

  checkCount(line, bytes, type) {
    const stated = recordNumber(bytes, 1, ADDRESS_LENGTHS[type]);
    if (stated === this.dataRecords) return;
    throw lineRefusal(line.number, "record-count",
      `${grouped(stated)} data records stated, ${grouped(this.dataRecords)} present`,
      "the number of data records before this line",
      "Records are missing or doubled: export the file again, or read the controller again.");
  }

  addData(line, bytes, type) {
    ++this.dataRecords;
    const width = ADDRESS_LENGTHS[type];
    const address = recordNumber(bytes, 1, width);
    const count = bytes[0] - width - 1;
    const limit = 2 ** (8 * width);
    if (address + count > limit) {
      throw lineRefusal(line.number, "record-address", `${count} bytes at ${addressText(address)} in S${type}`,
        `no byte past ${addressText(limit - 1)}`,
        "Export the file again with a type of data record that reaches every address.");
    }
    if (count === 0) return;
    const dataAt = line.begin + 4 + 2 * width;
    this.records.push({ address, dataAt, checksumAt: dataAt + 2 * count, count });
  }
}

export function parseSRecord(text) {
  const reader = new SRecordReader(text);
  const ending = readRecordLines(text, (line) => reader.read(line));
  return gatherRecords("s-record", text, reader.records, ending);
}

function sRecord(type, address, data) {
  const width = ADDRESS_LENGTHS[type];
  const count = width + data.length + 1;
  const head = hexDigits(count, 2) + hexDigits(address, 2 * width);
  let sum = count;
  for (let i = 0; i < width; ++i) sum += Math.floor(address / 2 ** (8 * i)) & 0xff;
  let digits = "";
  for (const byte of data) {
    digits += hexPair(byte);
    sum += byte;
  }
  return `S${type}${head}${digits}${hexDigits(~sum & 0xff, 2)}\n`;
}

// A new file: an empty S0, 32 data bytes a record, the narrowest type that reaches the last address.
export function writeSRecord(segments) {
  const last = segments.reduce((most, { address, bytes }) => Math.max(most, address + bytes.length - 1), 0);
  const type = last < 0x10000 ? 1 : last < 0x1000000 ? 2 : 3;
  const lines = [sRecord(0, 0, [])];
  for (const { address, bytes } of segments) {
    for (let at = 0; at < bytes.length; at += 32) lines.push(sRecord(type, address + at, bytes.subarray(at, at + 32)));
  }
  lines.push(sRecord(endTypeOf(type), 0, []));
  return lines.join("");
}
