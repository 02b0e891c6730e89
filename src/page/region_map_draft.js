// A region map while it is being read: its values, where in the text each of them stands, and the pieces that every section
// is made of.
//
// Faults of shape are thrown at once. Faults of names and everything behind them are noted, because reading meets them in
// another order than the one in which docs/region-map.md promises to report them.

import { printable, rangeText } from "./bytes.js";
import { Refusal } from "./reason.js";
import { ADDRESS_LIMIT, isName } from "./schema.js";
import { isEmptyRange, rangeHolds } from "./place.js";

export const LIST_LIMIT = 4096;    // of any list, after repetition
export const SECTOR_LIMIT = 65536;
export const MEMORY_LIMIT = 16;
export const BYTES_LIMIT = 65536;  // of patches, constants, recognised bytes

const NOTED_PHASES = ["names", "ranges", "overlaps", "policies", "checksums"];

export class Draft {
  constructor() {
    this.map = { memories: [], recognition: { all: [], softwareNumbers: [] }, forms: [], regions: [], patches: [], copies: [],
      checksums: [], identity: [], signedParts: [], sectors: [], items: [] };
    this.exists = [];         // by memory: the addresses of its segments
    this.nodes = new Map();   // where a thing of the map stands in the text
    this.noted = new Map();   // by phase
    this.formFiles = new Map();  // by form: its own checksums, as a draft of the file itself
    this.checksumPlaces = 0;     // those of forms count too
    this.checksumBytes = 0;      // bytes that checksums read, likewise
  }

  // Keeps the first fault of each phase.
  note(phase, node, code, found, expected, next) {
    if (!this.noted.has(phase)) this.noted.set(phase, refusalAt(node, code, found, expected, next));
  }

  // Takes over faults of a part that was read as a draft of its own.
  adopt(part) {
    for (const [phase, refusal] of part.noted) {
      if (!this.noted.has(phase)) this.noted.set(phase, refusal);
    }
  }

  throwFirst() {
    for (const phase of NOTED_PHASES) {
      if (this.noted.has(phase)) throw this.noted.get(phase);
    }
  }

  memoryIndex(name) {
    const index = this.map.memories.findIndex((memory) => memory.name === name);
    return index === -1 ? this.map.memories.length : index;
  }
}

export function refusalAt(node, code, found, expected, next) {
  try {
    node.refuse(code, found, expected);
  } catch (refusal) {
    if (refusal instanceof Refusal) refusal.next = next;
    return refusal;
  }
}

export const quoted = (text) => `"${printable(text, 70)}"`;

export function readMapName(node) {
  const name = node.text();
  if (!isName(name)) {
    node.refuse("json-value", quoted(name), "a name: 1 to 64 of a-z, 0-9, '-' and '_', beginning with a letter or digit");
  }
  return name;
}

// The names of one list, to see one that comes again.
export class NameList {
  constructor() {
    this.taken = new Set();
  }

  // Reads the object's "name".
  read(draft, object) {
    const node = object.required("name");
    const name = readMapName(node);
    if (this.taken.has(name)) {
      draft.note("names", node, "map-name", `${quoted(name)} again`, "each name once in its list", "rename one of the two");
    }
    this.taken.add(name);
    return name;
  }
}

// Text without control characters, not empty.
export function readMapLine(node) {
  const line = node.text();
  if (line === "" || /[\u0000-\u001f\u007f]/.test(line)) {
    node.refuse("json-value", quoted(line), "one line of text, not empty, without control characters");
  }
  return line;
}

export function readNote(object) {
  const node = object.optional("note");
  return node === undefined ? "" : node.text();
}

// Elements of a list that may be left out.
export function optionalItems(object, key, limit = LIST_LIMIT) {
  const node = object.optional(key);
  return node === undefined ? [] : node.items(limit);
}

// Index of the memory that `key` names; past the end after a fault.
export function readMemory(draft, object, key = "memory") {
  const node = object.required(key);
  const name = readMapName(node);
  const index = draft.memoryIndex(name);
  if (index === draft.map.memories.length) {
    draft.note("names", node, "map-name", `a memory called ${quoted(name)}`,
      `one of: ${draft.map.memories.map((memory) => memory.name).join(", ")}`,
      'correct the name, or declare the memory under "memories"');
  }
  return index;
}

export function readOrder(object, isRequired = false) {
  const node = isRequired ? object.required("order") : object.optional("order");
  return node === undefined ? "little" : node.choice(["little", "big"]);
}

export function readNumber(object, key, least, most) {
  return Number(object.required(key).number(BigInt(least), BigInt(most)));
}

// "size"; zero is a fault of range.
export function readSize(object) {
  return readNumber(object, "size", 0, ADDRESS_LIMIT);
}

export function readHex(object, key, most) {
  return object.required(key).hex(1, most);
}

// Nothing when the end would pass the last address.
export function checkedRange(begin, size) {
  return begin > ADDRESS_LIMIT || size > ADDRESS_LIMIT - begin ? undefined : { begin, end: begin + size };
}

// `count` ranges of `size` bytes, `stride` apart, the first at `begin`: inside the memory and its segments, every one. Gives
// the first; an empty one after a fault.
export function readRange(draft, node, memory, begin, size, count = 1, stride = 0) {
  const declared = draft.map.memories[memory];
  if (declared === undefined) return { begin: 0, end: 0 };  // the name was noted already
  if (size === 0) {
    draft.note("ranges", node, "map-range", "a range of 0 bytes", "at least one byte", "give the range its size, or remove it");
    return { begin: 0, end: 0 };
  }
  for (let i = 0; i < count; ++i) {
    const range = checkedRange(begin + i * stride, size);
    if (range !== undefined && draft.exists[memory].contains(range)) continue;
    const inHole = range !== undefined && rangeHolds(declared.extent, range);
    draft.note("ranges", node, "map-range",
      (range === undefined ? `${size} bytes from 0x${(begin + i * stride).toString(16)}` : rangeText(range)) +
        (count > 1 ? `, number ${i} of the repetition` : ""),
      `${inHole ? "inside one segment of" : "inside"} ${declared.name} ${rangeText(declared.extent)}`,
      "correct start, size or repetition; the last address of a range is start + size - 1");
    return { begin: 0, end: 0 };
  }
  return { begin, end: begin + size };
}

// "memory", `start` and a size given or read from "size", as {memory, range}.
export function readPlace(draft, object, start = "start", size = undefined) {
  const memory = readMemory(draft, object);
  const begin = object.required(start).address();
  return { memory, range: readRange(draft, object.node, memory, begin, size ?? readSize(object)) };
}

export function isPlaced({ range }) {
  return !isEmptyRange(range);
}
