// Signed JSON from tables: one table per kind of object, in the order of the format's page, reads the fields in order
// and writes the one canonical text again.
//
// A field type has read(node) and write(value). A row of a table is [key, type]; or [key, type, keys] where one
// property of ours stands for several keys of the file.

import { addressText, firstDifference, latin1, printable, rangeText, startsWith, toHex, utf8 } from "./bytes.js";
import { INTEGER_LIMIT, JsonObject, parseJson } from "./json.js";
import { describeRefusal, Refusal } from "./reason.js";

export const ADDRESS_LIMIT = 2 ** 32;
const asItIs = (value) => value;

export function isName(text) {
  return /^[a-z0-9][a-z0-9_-]{0,63}$/.test(text);
}

function isLine(text) {
  return !/[\u0000-\u001f\u007f]/.test(text) && utf8(text).length <= 200;
}

function readName(node) {
  const text = node.text();
  if (!isName(text)) node.refuse("json-value", node.found(), "a name: [a-z0-9][a-z0-9_-]{0,63}");
  return text;
}

function readLine(node) {
  const text = node.text(200);
  if (!isLine(text)) node.refuse("json-value", node.found(), "one line without control characters");
  return text;
}

// Seconds since 1970, or null for what is no time of ours.
export function parseTime(text) {
  const match = /^([0-9]{4})-([0-9]{2})-([0-9]{2})T([0-9]{2}):([0-9]{2}):([0-9]{2})Z$/.exec(text);
  if (match === null || match[1] < "1970") return null;
  const [year, month, day, hour, minute, second] = match.slice(1).map(Number);
  const date = new Date(Date.UTC(year, month - 1, day, hour, minute, second));
  // The platform lets the 31st of a short month run over into the next; such a date does not exist.
  return date.toISOString() === text.replace("Z", ".000Z") ? date.getTime() / 1000 : null;
}

function readTime(node) {
  const text = node.text();
  if (parseTime(text) === null) node.refuse("json-value", node.found(), 'a time as "YYYY-MM-DDThh:mm:ssZ"');
  return text;
}

// The same type, or "" for nothing.
function orNothing(read) {
  return { read: (node) => (node.text() === "" ? "" : read(node)), write: asItIs };
}

export const NAME = { read: readName, write: asItIs };
export const LINE = { read: readLine, write: asItIs };
export const TEXT = { read: (node) => node.text(65536), write: asItIs };
export const VALUE = { read: (node) => node.text(1024), write: asItIs };
export const BOOLEAN = { read: (node) => node.boolean(), write: asItIs };
export const TIME = { read: readTime, write: asItIs };
export const ADDRESS = { read: (node) => node.address(), write: addressText };
export const DIGEST = { read: (node) => toHex(node.hex(32, 32)), write: asItIs };
export const MAYBE_NAME = orNothing(readName);
export const MAYBE_TIME = orNothing(readTime);
// A text that is no digest is judged as one, whatever its length.
export const MAYBE_DIGEST = {
  read: (node) => (node.kind === "string" && node.value === "" ? "" : DIGEST.read(node)),
  write: asItIs,
};

export function textOf(limit) {
  return { read: (node) => node.text(limit), write: asItIs };
}

export function integerOf(least, most = INTEGER_LIMIT) {
  return { read: (node) => node.integer(least, most), write: asItIs };
}

export function choiceOf(...choices) {
  return { read: (node) => node.choice(choices), write: asItIs };
}

export function listOf(type, limit) {
  return {
    read: (node) => node.items(limit).map((item) => type.read(item)),
    write: (list) => list.map((item) => type.write(item)),
  };
}

// Two keys, first address and size, as one range.
export function rangeOf(firstKey, sizeLimit) {
  return {
    read(object) {
      const begin = object.required(firstKey).address();
      const size = object.required("size").integer(1, sizeLimit);
      const range = { begin, end: begin + size };
      if (range.end > ADDRESS_LIMIT) {
        object.node.refuse("json-value", `${rangeText(range)}`, "an end of at most 2^32");
      }
      return range;
    },
    write: ({ begin, end }) => ({ [firstKey]: addressText(begin), size: end - begin }),
  };
}

// A row for a place in a memory: ...PLACE.
const RANGE_ROW = ["range", rangeOf("start", ADDRESS_LIMIT), "spread"];
export const PLACE = [["memory", NAME], RANGE_ROW];

export function objectOf(...rows) {
  return {
    read(node) {
      const object = new JsonObject(node);
      const value = {};
      for (const [key, type, spread] of rows) value[key] = type.read(spread ? object : object.required(key));
      object.done();
      return value;
    },
    write(value) {
      const out = {};
      for (const [key, type, spread] of rows) {
        const written = type.write(value[key]);
        if (spread) Object.assign(out, written);
        else out[key] = written;
      }
      return out;
    },
  };
}

// A list item that is nothing but a range.
export const RANGE = {
  read: (node) => objectOf(RANGE_ROW).read(node).range,
  write: (range) => RANGE_ROW[1].write(range),
};

export function literalOf(kind) {
  return `{"calseal":"${kind}",`;
}

// Every kind of signed file begins with a literal of its own, so that no signature serves for another kind.
export function checkKind(bytes, kind, file) {
  const literal = literalOf(kind);
  if (startsWith(bytes, literal)) return;
  throw new Refusal("type-wrong", {
    file,
    place: "byte 0",
    found: `"${printable(latin1(bytes.subarray(0, literal.length)), 60)}"`,
    expected: literal,
    next: "check that this is the right file for this place",
  });
}

// The one text of a value. The platform writes strings, numbers and order of keys as the format demands.
export function canonicalText(type, value) {
  return JSON.stringify(type.write(value));
}

const SHOWN = 20; // bytes behind a difference

// Bytes held against what writing their meaning again gives, piece by piece.
export class CanonicalComparison {
  constructor(bytes) {
    this.bytes = bytes;
    this.at = 0; // the bytes before are the same
    this.written = ""; // what follows there, as much as is shown, once there is a difference
    this.differs = false;
  }

  // The text that is written next.
  take(text) {
    let written = utf8(text);
    if (!this.differs) {
      const rest = this.bytes.subarray(this.at, this.at + written.length);
      const same = firstDifference(rest, written);
      const count = same < 0 ? written.length : same;
      this.at += count;
      written = written.subarray(count);
      this.differs = written.length > 0;
    }
    this.written += latin1(written.subarray(0, SHOWN - this.written.length));
  }

  finish(file) {
    if (!this.differs && this.at === this.bytes.length) return;
    const excerpt = (text) => (text === "" ? "the end" : `"${printable(text, 60)}"`);
    throw new Refusal("json-not-canonical", {
      file,
      place: `byte ${this.at}`,
      found: excerpt(latin1(this.bytes.subarray(this.at, this.at + SHOWN))),
      expected: excerpt(this.written),
      next: "do not use this file; ask its sender for a new copy",
    });
  }
}

// Bytes of which the kind was checked, read by their table and compared with what writing them again gives.
export function readCanonical(bytes, type, file) {
  const value = type.read(parseJson(bytes, file));
  const comparison = new CanonicalComparison(bytes);
  comparison.take(canonicalText(type, value));
  comparison.finish(file);
  return value;
}

// The same for statements, where one reason stands for whatever is wrong with the text.
export function readCanonicalAs(code, bytes, type, file) {
  try {
    return readCanonical(bytes, type, file);
  } catch (fault) {
    if (!(fault instanceof Refusal)) throw fault;
    throw new Refusal(code, describeRefusal(fault));
  }
}

// Strictly ascending, so nothing stands twice. Digests as texts ascend as their bytes do.
export function isAscending(list, key = asItIs) {
  return list.every((item, i) => i === 0 || key(list[i - 1]) < key(item));
}

export function namesAreUnique(list) {
  return new Set(list.map((item) => item.name)).size === list.length;
}
