// Intel, "Hexadecimal Object File Format Specification", revision A (1988).

import { addressText } from "./bytes.js";
import { decodeRecord, gatherRecords, hexDigits, hexPair, lineRefusal, readRecordLines, recordNumber } from "./record_text.js";

const DATA = 0;
const END = 1;
const EXTENDED_SEGMENT = 2;
const EXTENDED_LINEAR = 4;
const START_LINEAR = 5;
const HEX_DATA_LENGTHS = [0, 0, 2, 4, 2, 4];  // exact, for all types but data
const OFFSETS = 0x10000;                    // what a load offset reaches
const HEX_HEAD = 4;                          // count, load offset, type

const typeName = (type) => `type 0x${hexDigits(type, 2).toLowerCase()}`;

class IntelHexReader {
  constructor(text) {
    this.text = text;
    this.base = 0;
    this.baseType = EXTENDED_LINEAR;
    this.records = [];
  }

  // True for the end record.
  read(line) {
    const { fault, bytes } = decodeRecord("intel-hex", this.text, line);
    if (fault !== undefined) throw fault;
    const type = bytes[3];
    if (type > START_LINEAR) {
      throw lineRefusal(line.number, "record-type", typeName(type), "type 0x00 to 0x05",
        "Export the file again as plain Intel HEX.");
    }
    if (type === DATA) {
      this.addData(line, bytes);
      return false;
    }
    this.checkFields(line, bytes, type);
    if (type === EXTENDED_SEGMENT || type === EXTENDED_LINEAR) this.setBase(line, bytes, type);
    return type === END;
  }

  checkFields(line, bytes, type) {
    if (bytes[0] !== HEX_DATA_LENGTHS[type]) {
      throw lineRefusal(line.number, "record-malformed", `${bytes[0]} data bytes in ${typeName(type)}`,
        String(HEX_DATA_LENGTHS[type]), "Export the file again as plain Intel HEX.");
    }
    // Some writers put a start address into the end record's load offset.
    const offset = recordNumber(bytes, 1, 2);
    if (type !== END && offset !== 0) {
      throw lineRefusal(line.number, "record-malformed", `load offset 0x${hexDigits(offset, 4)} in ${typeName(type)}`,
        "0x0000", "Export the file again as plain Intel HEX.");
    }
  }

  setBase(line, bytes, type) {
    if (this.base !== 0 && type !== this.baseType) {
      throw lineRefusal(line.number, "record-type",
        `${typeName(type)} while ${typeName(this.baseType)} has set the base ${addressText(this.base)}`,
        "one kind of extended address, or the base set back to 0 first",
        "Export the file again with extended linear addresses only.");
    }
    this.baseType = type;
    this.base = recordNumber(bytes, HEX_HEAD, 2) * (type === EXTENDED_SEGMENT ? 16 : OFFSETS);
  }

  addData(line, bytes) {
    const count = bytes[0];
    const offset = recordNumber(bytes, 1, 2);
    if (offset + count > OFFSETS) {
      throw lineRefusal(line.number, "record-address", `${count} bytes at load offset 0x${hexDigits(offset, 4)}`,
        "no byte past load offset 0xffff", "Export the file again with records that end where 64 KiB end.");
    }
    if (count === 0) return;
    const dataAt = line.begin + 1 + 2 * HEX_HEAD;
    this.records.push({ address: this.base + offset, dataAt, checksumAt: dataAt + 2 * count, count });
  }
}

export function parseIntelHex(text) {
  const reader = new IntelHexReader(text);
  const ending = readRecordLines(text, (line) => reader.read(line));
  return gatherRecords("intel-hex", text, reader.records, ending);
}

function hexRecord(type, offset, data) {
  let sum = data.length + (offset >> 8) + (offset & 0xff) + type;
  let digits = "";
  for (const byte of data) {
    digits += hexPair(byte);
    sum += byte;
  }
  return `:${hexDigits(data.length, 2)}${hexDigits(offset, 4)}${hexDigits(type, 2)}${digits}${hexDigits(-sum & 0xff, 2)}\n`;
}

// A new file: 32 data bytes a record, upper case, LF, extended linear addresses.
export function writeIntelHex(segments) {
  const lines = [];
  let upper = 0;
  for (const { address: start, bytes } of segments) {
    for (let at = 0; at < bytes.length;) {
      const address = start + at;
      const offset = address % OFFSETS;
      if (Math.floor(address / OFFSETS) !== upper) {
        upper = Math.floor(address / OFFSETS);
        lines.push(hexRecord(EXTENDED_LINEAR, 0, [upper >> 8, upper & 0xff]));
      }
      const count = Math.min(32, bytes.length - at, OFFSETS - offset);
      lines.push(hexRecord(DATA, offset, bytes.subarray(at, at + count)));
      at += count;
    }
  }
  lines.push(hexRecord(END, 0, []));
  return lines.join("");
}
