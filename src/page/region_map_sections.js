// The lists of a region map other than memories, forms, checksums and items; and the link.

import { addressText, printable, rangeText, sameBytes } from "./bytes.js";
import { JsonObject } from "./json.js";
import { ADDRESS_LIMIT } from "./schema.js";
import { BYTES_LIMIT, LIST_LIMIT, NameList, SECTOR_LIMIT, checkedRange, optionalItems, readHex, readMapLine, readMemory, readNote, readNumber, readPlace, readRange, readSize } from "./region_map_draft.js";
import { comparePlaces, rangeHolds, shifted, sizeOf } from "./place.js";

const LINK_RATE_LIMIT = 100000000;  // bytes a second
const FIELD_SIZE_LIMIT = 256;
const MARKER_SIZE_LIMIT = 32;
const PATTERN_LIMIT = 256;

export function readRecognition(draft, top) {
  const node = top.optional("recognise");
  if (node === undefined) return;
  const object = new JsonObject(node);
  const { recognition } = draft.map;
  for (const item of optionalItems(object, "all")) {
    const match = new JsonObject(item);
    const memory = readMemory(draft, match);
    const at = match.required("at").address();
    const bytes = readHex(match, "bytes", BYTES_LIMIT);
    const mask = match.optional("mask")?.hex(bytes.length, bytes.length) ?? new Uint8Array(bytes.length).fill(0xff);
    const range = readRange(draft, item, memory, at, bytes.length);
    match.done();
    recognition.all.push({ memory, range, bytes, mask });
  }
  const numbers = object.optional("software_numbers");
  if (numbers !== undefined) {
    draft.softwareNumbers = numbers;
    recognition.softwareNumbers = numbers.items(LIST_LIMIT).map(readMapLine);
  }
  if (recognition.all.length === 0 && recognition.softwareNumbers.length === 0) {
    node.refuse("json-value", "nothing to recognise by", '"all" or "software_numbers" with an element');
  }
  object.done();
}

export function readRegions(draft, top) {
  const names = new NameList();
  const { regions } = draft.map;
  for (const node of top.required("regions").items(LIST_LIMIT)) {
    const object = new JsonObject(node);
    const name = names.read(draft, object);
    const memory = readMemory(draft, object);
    const begin = object.required("start").address();
    const size = readSize(object);
    const repeats = object.has("count") || object.has("stride");
    const count = repeats ? readNumber(object, "count", 1, LIST_LIMIT) : 1;
    const stride = repeats ? readNumber(object, "stride", 1, ADDRESS_LIMIT) : 0;
    const policy = object.required("policy").choice(["locked", "editable", "volatile", "derived"]);
    const note = readNote(object);
    object.done();
    if (count > LIST_LIMIT - regions.length) {
      node.refuse("json-value", `${regions.length + count} regions after repetition`, `at most ${LIST_LIMIT}`);
    }
    const range = readRange(draft, node, memory, begin, size, count, stride);
    for (let i = 0; i < count; ++i) {
      const region = { name: repeats ? `${name}[${i}]` : name, memory, range: shifted(range, stride, i), policy, note };
      draft.nodes.set(region, node);
      regions.push(region);
    }
  }
  regions.sort(comparePlaces);
}

export function readPatches(draft, top) {
  const names = new NameList();
  for (const node of optionalItems(top, "permitted_patches")) {
    const object = new JsonObject(node);
    const name = names.read(draft, object);
    const memory = readMemory(draft, object);
    const at = object.required("at").address();
    const before = readHex(object, "before", BYTES_LIMIT);
    const after = readHex(object, "after", BYTES_LIMIT);
    const note = readNote(object);
    object.done();
    if (before.length !== after.length || sameBytes(before, after)) {
      node.refuse("json-value",
        `${before.length} bytes before, ${sameBytes(before, after) ? "the same" : after.length} after`,
        "as many bytes before as after, and others");
    }
    const patch = { name, memory, range: readRange(draft, node, memory, at, before.length), before, after, note };
    draft.nodes.set(patch, node);
    draft.map.patches.push(patch);
  }
}

function readActiveBank(draft, node) {
  const object = new JsonObject(node);
  const memory = readMemory(draft, object);
  const at = object.required("at").address();
  const equals = readHex(object, "equals", MARKER_SIZE_LIMIT);
  const range = readRange(draft, node, memory, at, equals.length);
  object.done();
  return { memory, range, equals };
}

export function readCopies(draft, top) {
  const names = new NameList();
  for (const node of optionalItems(top, "copies")) {
    const object = new JsonObject(node);
    const copy = { name: names.read(draft, object), ...readPlace(draft, object), transform: "plain", offset: 0 };
    const source = new JsonObject(object.required("of"));
    copy.of = readPlace(draft, source, "start", sizeOf(copy.range));
    source.done();
    copy.transform = object.optional("transform")?.choice(["plain", "complement", "offset"]) ?? "plain";
    const hasOffset = object.has("offset");
    if (hasOffset) copy.offset = object.required("offset").integer(0, 255);
    if (hasOffset !== (copy.transform === "offset")) {
      node.refuse("json-value", hasOffset ? 'an "offset" for another transform' : 'no "offset"',
        '"offset" together with the transform "offset", and only then');
    }
    const marker = object.optional("active_bank");
    copy.activeBank = marker === undefined ? undefined : readActiveBank(draft, marker);
    object.done();
    draft.nodes.set(copy, node);
    draft.map.copies.push(copy);
  }
}

function isPattern(pattern) {
  if (pattern === "" || pattern.length > PATTERN_LIMIT || /[^\x20-\x7e]/.test(pattern)) return false;
  for (let i = 0; i < pattern.length; ++i) {
    if (pattern[i] === "\\") {
      if (++i === pattern.length) return false;
    } else if (pattern[i] === "*" && i + 1 !== pattern.length) {
      return false;
    }
  }
  return true;
}

export function readIdentityFields(draft, top) {
  const names = new NameList();
  for (const node of optionalItems(top, "identity")) {
    const object = new JsonObject(node);
    const field = { name: names.read(draft, object) };
    field.kind = object.required("kind").choice(["software-number", "calibration-id", "verification-number", "vin", "serial",
      "hardware-number", "revision-mark", "other"]);
    field.memory = readMemory(draft, object);
    const at = object.required("at").address();
    const size = readNumber(object, "size", 1, FIELD_SIZE_LIMIT);
    field.encoding = object.required("encoding").choice(["ascii", "bcd", "integer-little", "integer-big", "hex"]);
    if (field.encoding.startsWith("integer") && size > 8) {
      node.refuse("json-value", `an integer of ${size} bytes`, "1 to 8 bytes");
    }
    const pattern = object.optional("pattern");
    field.pattern = pattern === undefined ? "" : pattern.text();
    if (pattern !== undefined && !isPattern(field.pattern)) {
      pattern.refuse("json-value", `"${printable(field.pattern, 70)}"`,
        "1 to 256 printable ASCII characters, '*' only at the end, something after each '\\'");
    }
    field.binds = object.has("binds") ? object.required("binds").boolean() : false;
    object.done();
    field.range = readRange(draft, node, field.memory, at, size);
    draft.nodes.set(field, node);
    draft.map.identity.push(field);
  }
}

// The one reference between sections; part of the phase of names.
export function checkSoftwareNumbers(draft) {
  if (draft.softwareNumbers === undefined) return;
  if (draft.map.identity.some((field) => field.kind === "software-number")) return;
  draft.note("names", draft.softwareNumbers, "map-name", "software numbers, and no field to read one from",
    'an identity field of kind "software-number"', "declare the field, or remove the numbers");
}

export function readSignedParts(draft, top) {
  const names = new NameList();
  for (const node of optionalItems(top, "manufacturer_signed")) {
    const object = new JsonObject(node);
    const part = { name: names.read(draft, object), places: [] };
    for (const item of object.required("places").items(LIST_LIMIT)) {
      const written = new JsonObject(item);
      const place = readPlace(draft, written);
      written.done();
      draft.nodes.set(place, item);
      part.places.push(place);
    }
    if (part.places.length === 0) node.refuse("json-value", "no place", 'at least one place under "places"');
    object.done();
    draft.map.signedParts.push(part);
  }
}

export function readSectors(draft, top) {
  const { sectors, memories } = draft.map;
  for (const node of optionalItems(top, "erase_sectors")) {
    const object = new JsonObject(node);
    const memory = readMemory(draft, object);
    const begin = object.required("start").address();
    const size = readSize(object);
    const count = readNumber(object, "count", 1, SECTOR_LIMIT);
    object.done();
    if (count > SECTOR_LIMIT - sectors.length) {
      node.refuse("json-value", `${sectors.length + count} erase sectors`, `at most ${SECTOR_LIMIT}`);
    }
    if (memory >= memories.length) continue;
    const { extent, name } = memories[memory];
    // Holes between segments have sectors too.
    const all = checkedRange(begin, size * count);
    if (all === undefined || size === 0 || !rangeHolds(extent, all)) {
      draft.note("ranges", node, "map-range", `${count} sectors of ${size} bytes from ${addressText(begin)}`,
        `at least one byte each, all inside ${name} ${rangeText(extent)}`, "correct start, size or count");
      continue;
    }
    for (let i = 0; i < count; ++i) {
      const sector = { memory, range: { begin: begin + i * size, end: begin + (i + 1) * size } };
      draft.nodes.set(sector, node);
      sectors.push(sector);
    }
  }
  sectors.sort(comparePlaces);
}

// Rates for the write plan, which is not the customer's; read because a map with a fault is no map.
export function readLink(draft, top) {
  const node = top.optional("link");
  if (node === undefined) return;
  const object = new JsonObject(node);
  object.required("read_rate").integer(1, LINK_RATE_LIMIT);
  object.required("write_rate").integer(1, LINK_RATE_LIMIT);
  object.done();
}
