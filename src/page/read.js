// A controller's read: the files that a person has, laid into the memories of a region map, and written back in the form they
// came in. What no file gives is unknown.
//
// A read is {image, sources, filled}; a source {memory, name, form, file, declared}: `memory` "" when it spans several, `declared`
// the region map's form when it is one. `filled`, by memory: bytes that no file holds and whose value is the fill all the same,
// because a form omits them or a record file leaves the hole.

import { addressText, bytesText, firstDifference, grouped, hexExcerpt, printable, rangeText, sameBytes } from "./bytes.js";
import { Refusal } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { looksOpaque } from "./entropy.js";
import { blankImage, joinRanges, putBytes, segmentTotal, segmentsOf, viewAt } from "./image.js";
import { isFormOfMemory, misfitOf, verifyWrapping, wrap, wrappedParts, wrappingFits } from "./wrapping.js";
import { parseForm, writeBack } from "./form.js";
import { memoryIndexOf, placeText, rangesOverlap, sizeOf } from "./place.js";

const READ_FILE_LIMIT = 2 ** 30;  // bytes of one file, record forms included

function requireFree(map, place, file, image) {
  if (!image.memories[place.memory].known.overlaps(place.range)) return;
  throw new Refusal("record-overlap", { file, place: placeText(map, place), found: "bytes that another file gave already",
    expected: "each byte from one file", next: "give each memory once" });
}

function lay(map, place, bytes, file, image) {
  requireFree(map, place, file, image);
  putBytes(image, place, bytes);
  image.memories[place.memory].known.add(place.range);
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
  const { extent, known } = image.memories[index];
  if (known.empty && memory.segments.length === 1 && total === sizeOf(extent)) {
    image.memories[index].bytes = bytes; // the very file: nobody writes into a read
    known.add(extent);
    return;
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

// Bytes that are known to be `value` without standing in a file.
function fillBytes(read, memory, set, value) {
  for (const range of set.ranges) viewAt(read.image, { memory, range }).fill(value);
  read.filled[memory].addAll(set);
  read.image.memories[memory].known.addAll(set);
}

// Gives the only memory that the file has bytes of, or nothing when there are several.
function laySegments(map, named, segments, file, read) {
  const touched = new Set();
  for (const { address, bytes } of segments) {
    let rest = bytes;
    for (const place of placesOf(map, named, { begin: address, end: address + bytes.length }, file)) {
      touched.add(place.memory);
      lay(map, place, rest.subarray(0, sizeOf(place.range)), file, read.image);
      rest = rest.subarray(sizeOf(place.range));
    }
  }
  for (const index of touched) {
    if (!map.memories[index].holeIsFill) continue;
    const holes = segmentsOf(map.memories[index]);
    holes.removeAll(read.image.memories[index].known);
    fillBytes(read, index, holes, map.memories[index].fill);
  }
  return touched.size === 1 ? [...touched][0] : undefined;
}

function layDeclared(map, form, bytes, file, read) {
  for (const part of wrappedParts(form)) lay(map, part, bytes.subarray(part.at, part.at + part.size), file, read.image);
  for (const place of form.omitted) {
    requireFree(map, place, file, read.image);
    fillBytes(read, place.memory, new RangeSet([place.range]), form.fill);
  }
}

// The declared form that a raw file has; nothing when it has none. With `named`, forms of that memory alone.
async function formOf(map, named, bytes, file) {
  let broken;
  for (const form of map.forms) {
    if (!wrappingFits(form, bytes) || (named !== undefined && !isFormOfMemory(form, named))) continue;
    try {
      await verifyWrapping(form, bytes, file);
      return form;
    } catch (fault) {
      if (!(fault instanceof Refusal)) throw fault;
      broken ??= fault;
    }
  }
  if (broken !== undefined) throw broken;
  return undefined;
}

function refuseUnreadable(map, bytes, file) {
  for (const { name, signature, note } of map.forms) {
    if (signature === undefined || firstDifference(bytes.subarray(0, signature.length), signature) !== -1) continue;
    throw new Refusal("form-opaque", { file, place: "offset 0", found: `${hexExcerpt(signature)}, as form "${name}" begins`,
      expected: "a form that can be read: this one is declared encrypted or compressed",
      next: note === "" ? "save the read in another form" : printable(note) });
  }
}

// What a file that nothing declared fits is, beyond the refusal that says so.
function explainRaw(map, bytes, file, refusal) {
  if (!looksOpaque(bytes)) return misfitOf(map, bytes, file) ?? refusal;
  return new Refusal("form-opaque", { file, found: `${bytesText(bytes.length)}, nearly all of which look random`,
    expected: "the image as it is, or in a form that the region map declares",
    next: "save the read without encryption and compression, or have whoever encrypted it undo that" });
}

// The memory of exactly this size, when only one has it.
function memoryOfSize(map, size) {
  const fitting = [...map.memories.keys()].filter((index) => segmentTotal(map.memories[index]) === size);
  return fitting.length === 1 ? fitting[0] : undefined;
}

async function layRawFile(map, named, source, read) {
  const { name, file: { original: bytes } } = source;
  if (named === undefined || bytes.length !== segmentTotal(map.memories[named])) {
    source.declared = await formOf(map, named, bytes, name);
  }
  if (source.declared !== undefined) {
    source.form = source.declared.name;
    layDeclared(map, source.declared, bytes, name, read);
    return source;
  }
  refuseUnreadable(map, bytes, name);
  named ??= memoryOfSize(map, bytes.length);
  if (named === undefined && map.memories.length > 1) {
    const names = map.memories.map((memory) => `${memory.name} (${bytesText(segmentTotal(memory))})`).join(", ");
    throw explainRaw(map, bytes, name, new Refusal("memory-missing", { file: name,
      found: `${grouped(bytes.length)} raw bytes, not the size of one memory alone`, expected: `the memory named: ${names}`,
      next: "say which memory the file is of" }));
  }
  named ??= 0;
  source.memory = map.memories[named].name;
  try {
    layRaw(map, named, bytes, name, read.image);
  } catch (fault) {
    throw fault instanceof Refusal && fault.code === "image-size" ? explainRaw(map, bytes, name, fault) : fault;
  }
  return source;
}

function namedMemory(map, { memory, name }) {
  if (memory === "") return undefined;
  const index = memoryIndexOf(map, memory);
  if (index !== -1) return index;
  throw new Refusal("memory-unknown", { file: name, found: `memory "${printable(memory, 64)}"`,
    expected: `one of ${map.memories.map((declared) => declared.name).join(", ")}`, next: "correct the name of the memory" });
}

async function layFile(map, given, read) {
  const { name, bytes } = given;
  const named = namedMemory(map, given);
  const source = { memory: given.memory, name, file: parseForm(bytes), declared: undefined };
  source.form = source.file.kind;
  if (source.form === "raw") return layRawFile(map, named, source, read);
  const only = laySegments(map, named, source.file.segments, name, read);
  if (only !== undefined) source.memory = map.memories[only].name;
  return source;
}

// `files`: [{memory, name, bytes}], `memory` "" when it is not named.
export async function loadRead(map, files) {
  const read = { image: blankImage(map), sources: [], filled: map.memories.map(() => new RangeSet()) };
  for (const file of files) {
    try {
      if (file.bytes.length > READ_FILE_LIMIT) {
        throw new Refusal("file-too-large", { found: bytesText(file.bytes.length), expected: `at most ${grouped(READ_FILE_LIMIT)}`,
          next: "make sure that this is a controller image" });
      }
      read.sources.push(await layFile(map, file, read));
    } catch (refusal) {
      if (refusal instanceof Refusal && refusal.file === "") refusal.file = file.name;
      throw refusal;
    }
  }
  return read;
}

// The memory's own bytes where the file is all of it: nobody needs the image afterwards.
function rawFile(memory, segments) {
  return sizeOf(segments[0]) === memory.bytes.length ? memory.bytes : joinRanges(memory, segments);
}

function renderSource(map, source, image) {
  if (source.declared !== undefined) return wrap(source.declared, source.file.original, image, source.name);
  const index = memoryIndexOf(map, source.memory);
  const named = index === -1 ? undefined : index;
  if (source.form === "raw") return rawFile(image.memories[named], map.memories[named].segments);
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

// Where no file holds a byte, there is no place for another one than the fill.
function requireFilled(map, read, image) {
  for (const [memory, { ranges }] of read.filled.entries()) {
    for (const range of ranges) {
      const wanted = viewAt(image, { memory, range });
      const fill = viewAt(read.image, { memory, range });
      const at = firstDifference(wanted, fill);
      if (at === -1) continue;
      throw new Refusal("form-omits", { file: read.sources[0]?.name ?? "", place: `${map.memories[memory].name} ${addressText(range.begin + at)}`,
        found: `${hexExcerpt(wanted.subarray(at, at + 1))} where the file has no place`, expected: `${hexExcerpt(fill.subarray(0, 1))}, the fill`,
        next: "read the controller in a form that holds these bytes" });
    }
  }
}

// The files again, in the order and form of `read`, with the bytes of `image` and the wrappings' own checksums made right. One
// that `stays` has no byte that the read does not have.
export async function renderRead(map, read, image) {
  requireFilled(map, read, image);
  const files = [];
  for (const source of read.sources) {
    const bytes = await renderSource(map, source, image);
    const stays = sameBytes(bytes, await renderSource(map, source, read.image));
    files.push({ memory: source.memory, source: source.name, bytes, stays });
  }
  return files;
}
