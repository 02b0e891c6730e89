// A controller's read: the files that a person has, laid into the memories of a region map, and written back in the form they
// came in. What no file gives is unknown.
//
// A read is {image, sources}; a source {memory, name, form, file, declared}: `memory` "" when it spans several, `declared`
// the region map's form when it is one.

import { bytesText, grouped, printable, rangeText, sameBytes } from "./bytes.js";
import { Refusal } from "./reason.js";
import { blankImage, joinRanges, putBytes, segmentTotal, segmentsOf, viewAt } from "./image.js";
import { parseForm, writeBack } from "./form.js";
import { placeText, rangesOverlap, sizeOf } from "./place.js";

const READ_FILE_LIMIT = 2 ** 30;  // bytes of one file, record forms included

function lay(map, place, bytes, file, image) {
  const { known } = image.memories[place.memory];
  if (known.overlaps(place.range)) {
    throw new Refusal("record-overlap", { file, place: placeText(map, place), found: "bytes that another file gave already",
      expected: "each byte from one file", next: "give each memory once" });
  }
  putBytes(image, place, bytes);
  known.add(place.range);
}

function layRaw(map, index, bytes, file, image) {
  const memory = map.memories[index];
  const total = segmentTotal(memory);
  if (bytes.length !== total) {
    throw new Refusal("image-size", { file, place: memory.name, found: bytesText(bytes.length), expected: bytesText(total),
      next: bytes.length < total
        ? "the file is too short: read the controller again, or declare its form in the region map"
        : "the file is too long: check memory and file, or declare its form in the region map" });
  }
  for (const segment of memory.segments) {
    lay(map, { memory: index, range: segment }, bytes.subarray(0, sizeOf(segment)), file, image);
    bytes = bytes.subarray(sizeOf(segment));
  }
}

// Where the bytes of a record file at these addresses belong: the only memory that has them all, or several that share them
// without doubt. `named` leaves no choice.
function placesOf(map, named, range, file) {
  const whole = [];
  const parts = [];
  map.memories.forEach((memory, index) => {
    if (named !== undefined && named !== index) return;
    const inside = segmentsOf(memory).within(range);
    for (const part of inside.ranges) parts.push({ memory: index, range: part });
    if (inside.contains(range)) whole.push({ memory: index, range });
  });
  if (whole.length === 1) return whole;
  parts.sort((a, b) => a.range.begin - b.range.begin || a.range.end - b.range.end);
  for (let i = 1; i < parts.length; ++i) {
    const [a, b] = [parts[i - 1], parts[i]];
    if (!rangesOverlap(a.range, b.range)) continue;
    const both = { begin: Math.max(a.range.begin, b.range.begin), end: Math.min(a.range.end, b.range.end) };
    throw new Refusal("memory-missing", { file, place: rangeText(both),
      found: `addresses that memories ${map.memories[a.memory].name} and ${map.memories[b.memory].name} both have`,
      expected: "the memory named", next: "say which memory the file is of" });
  }
  let at = range.begin;
  for (const part of parts) {
    if (part.range.begin !== at) break;
    at = part.range.end;
  }
  if (at === range.end) return parts;
  const next = parts.find((part) => part.range.begin > at);
  throw new Refusal("image-outside", { file, place: rangeText({ begin: at, end: next?.range.begin ?? range.end }),
    found: `bytes at addresses that ${named === undefined ? "no memory has" : `memory ${map.memories[named].name} does not have`}`,
    expected: "addresses of the region map's memories", next: "check that file and region map belong together" });
}

// Gives the only memory that the file has bytes of, or nothing when there are several.
function laySegments(map, named, segments, file, image) {
  const touched = new Set();
  for (const { address, bytes } of segments) {
    let rest = bytes;
    for (const place of placesOf(map, named, { begin: address, end: address + bytes.length }, file)) {
      touched.add(place.memory);
      lay(map, place, rest.subarray(0, sizeOf(place.range)), file, image);
      rest = rest.subarray(sizeOf(place.range));
    }
  }
  for (const index of touched) {
    const memory = map.memories[index];
    if (memory.holeIsFill) image.memories[index].known.addAll(segmentsOf(memory));
  }
  return touched.size === 1 ? [...touched][0] : undefined;
}

const formSize = (form) => form.blocks.reduce((size, block) => size + block.size, 0);

// Offset of the first constant that `bytes`, as long as the form, does not hold.
function wrongConstant(form, bytes) {
  let at = 0;
  for (const block of form.blocks) {
    if (block.kind === "constant" && !sameBytes(block.bytes, bytes.subarray(at, at + block.size))) return at;
    at += block.size;
  }
  return undefined;
}

// The size is that of a declared form, but a constant of it differs; nothing when no form has this size.
function misfitOf(map, bytes, file) {
  for (const form of map.forms) {
    if (formSize(form) !== bytes.length) continue;
    const at = wrongConstant(form, bytes);
    if (at === undefined) continue;
    return new Refusal("form-unknown", { file, place: `offset ${grouped(at)}`, found: "other bytes than the constant there",
      expected: `form "${form.name}"`, next: "check that file and region map belong together" });
  }
  return undefined;
}

function layDeclared(map, form, bytes, file, image) {
  let at = 0;
  for (const block of form.blocks) {
    if (block.kind === "memory") lay(map, block, bytes.subarray(at, at + block.size), file, image);
    at += block.size;
  }
}

function namedMemory(map, { memory, name }) {
  if (memory === "") return undefined;
  const index = map.memories.findIndex((declared) => declared.name === memory);
  if (index !== -1) return index;
  throw new Refusal("memory-unknown", { file: name, found: `memory "${printable(memory, 64)}"`,
    expected: `one of ${map.memories.map((declared) => declared.name).join(", ")}`, next: "correct the name of the memory" });
}

function layFile(map, given, image) {
  const { name, bytes } = given;
  let named = namedMemory(map, given);
  const source = { memory: given.memory, name, file: parseForm(bytes), declared: undefined };
  source.form = source.file.kind;
  if (source.form !== "raw") {
    const only = laySegments(map, named, source.file.segments, name, image);
    if (only !== undefined) source.memory = map.memories[only].name;
    return source;
  }
  if (named === undefined) {
    const form = map.forms.find((one) => formSize(one) === bytes.length && wrongConstant(one, bytes) === undefined);
    if (form !== undefined) {
      source.form = form.name;
      source.declared = form;
      layDeclared(map, form, bytes, name, image);
      return source;
    }
    const misfit = misfitOf(map, bytes, name);
    if (map.memories.length > 1) {
      const names = map.memories.map((memory) => `${memory.name} (${bytesText(segmentTotal(memory))})`).join(", ");
      throw misfit ?? new Refusal("memory-missing", { file: name, found: `${grouped(bytes.length)} raw bytes and several memories`,
        expected: `the memory named: ${names}`, next: "say which memory the file is of" });
    }
    named = 0;
    source.memory = map.memories[0].name;
    if (misfit !== undefined && bytes.length !== segmentTotal(map.memories[0])) throw misfit;
  }
  layRaw(map, named, bytes, name, image);
  return source;
}

// `files`: [{memory, name, bytes}], `memory` "" when it is not named.
export function loadRead(map, files) {
  const read = { image: blankImage(map), sources: [] };
  for (const file of files) {
    try {
      if (file.bytes.length > READ_FILE_LIMIT) {
        throw new Refusal("file-too-large", { found: bytesText(file.bytes.length), expected: `at most ${grouped(READ_FILE_LIMIT)}`,
          next: "make sure that this is a controller image" });
      }
      read.sources.push(layFile(map, file, read.image));
    } catch (refusal) {
      if (refusal instanceof Refusal && refusal.file === "") refusal.file = file.name;
      throw refusal;
    }
  }
  return read;
}

function renderDeclared(source, image) {
  const out = source.file.original.slice();
  let at = 0;
  for (const block of source.declared.blocks) {
    if (block.kind === "memory") out.set(viewAt(image, block), at);
    at += block.size;
  }
  return out;
}

function renderSource(map, source, image) {
  if (source.declared !== undefined) return renderDeclared(source, image);
  const index = map.memories.findIndex((memory) => memory.name === source.memory);
  const named = index === -1 ? undefined : index;
  if (source.form === "raw") return joinRanges(image.memories[named], map.memories[named].segments);
  const segments = source.file.segments.map(({ address, bytes }) => {
    const out = new Uint8Array(bytes.length);
    let at = 0;
    for (const place of placesOf(map, named, { begin: address, end: address + bytes.length }, source.name)) {
      out.set(viewAt(image, place), at);
      at += sizeOf(place.range);
    }
    return { address, bytes: out };
  });
  return writeBack(source.file, segments);
}

// The files again, in the order and form of `read`, with the bytes of `image`.
export function renderRead(map, read, image) {
  return read.sources.map((source) => ({ memory: source.memory, source: source.name, bytes: renderSource(map, source, image) }));
}
