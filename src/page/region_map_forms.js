// Reading declared forms, and judging a wrapping's own checksums: a region map of the file itself, within the map.
//
// A form is {name, note, blocks, omitted, fill, file, signature}: `file` the map of its own checksums, or nothing; `signature` the
// first bytes of a wrapping that nobody can take off, which has nothing else.

import { grouped } from "./bytes.js";
import { JsonObject } from "./json.js";
import { Draft, BYTES_LIMIT, LIST_LIMIT, NameList, optionalItems, readHex, readNote, readNumber, readPlace, refusalAt } from "./region_map_draft.js";
import { readChecksums } from "./region_map_checksums.js";
import { RangeSet } from "./range_set.js";
import { sizeOf } from "./place.js";

const FORM_LIMIT = 2 ** 28;  // bytes of a form's blocks
const SIGNATURE_LIMIT = 64;

function readBlock(draft, node) {
  const written = new JsonObject(node);
  let block;
  if (written.has("constant")) {
    const bytes = readHex(written, "constant", BYTES_LIMIT);
    block = { kind: "constant", bytes, size: bytes.length };
  } else if (written.has("opaque")) {
    block = { kind: "opaque", size: readNumber(written, "opaque", 1, FORM_LIMIT) };
  } else {
    const place = readPlace(draft, written);
    block = { kind: "memory", ...place, size: sizeOf(place.range) };
  }
  written.done();
  draft.nodes.set(block, node);
  return block;
}

// Gives the size of the file.
function readBlocks(draft, object, form) {
  form.blocks = object.required("blocks").items(LIST_LIMIT).map((item) => readBlock(draft, item));
  if (!form.blocks.some((block) => block.kind === "memory")) {
    object.node.refuse("json-value", "a form without any part of a memory", "at least one such block");
  }
  const total = form.blocks.reduce((size, block) => size + block.size, 0);
  if (total > FORM_LIMIT) {
    draft.note("ranges", object.node, "map-range", `${grouped(total)} bytes in all blocks`, `at most ${grouped(FORM_LIMIT)}`,
      "correct the sizes");
  }
  return Math.min(total, FORM_LIMIT);
}

function readOmitted(draft, object, form) {
  const list = object.optional("omitted");
  if (list !== undefined) {
    form.omitted = list.items(LIST_LIMIT).map((item) => {
      const written = new JsonObject(item);
      const place = readPlace(draft, written);
      written.done();
      draft.nodes.set(place, item);
      return place;
    });
    if (form.omitted.length === 0) list.refuse("json-value", "no range", "at least one, or no such key");
  }
  const fills = object.has("fill");
  if (fills) form.fill = object.required("fill").hex(1, 1)[0];
  if (fills === form.omitted.length > 0) return;
  object.node.refuse("json-value", fills ? 'a "fill" and nothing omitted' : 'no "fill"', '"fill" together with "omitted", and only then');
}

// The wrapping's own checksums, in the words that the image's checksums are declared in.
function readOwnChecksums(draft, object, form, size) {
  if (!object.has("checksums")) return;
  const own = new Draft();
  const extent = { begin: 0, end: size };
  own.map.memories.push({ name: "file", extent, segments: size === 0 ? [] : [extent], fill: 0xff, holeIsFill: false });
  own.map.controller = "file";
  own.exists.push(new RangeSet([extent]));
  own.checksumPlaces = draft.checksumPlaces;
  readChecksums(own, object);
  draft.checksumPlaces = own.checksumPlaces;
  draft.adopt(own);
  draft.formFiles.set(form, own);
  form.file = own.map;
}

export function readForms(draft, top) {
  const names = new NameList();
  for (const node of optionalItems(top, "forms")) {
    const object = new JsonObject(node);
    const form = { name: names.read(draft, object), note: readNote(object), blocks: [], omitted: [], fill: 0xff, file: undefined, signature: undefined };
    if (object.has("signature")) {
      form.signature = readHex(object, "signature", SIGNATURE_LIMIT);
    } else {
      const size = readBlocks(draft, object, form);
      readOmitted(draft, object, form);
      readOwnChecksums(draft, object, form, size);
    }
    object.done();
    draft.map.forms.push(form);
  }
}

// A wrapping's own slots lie in its opaque blocks.
export function lintFormSlots(form, own) {
  const opaque = new RangeSet();
  let at = 0;
  for (const { kind, size } of form.blocks) {
    if (kind === "opaque") opaque.add({ begin: at, end: at + size });
    at += size;
  }
  for (const { slots, rule } of own.map.checksums) {
    for (const { range, node } of rule?.balance ? [...slots, rule.balance] : slots) {
      if (opaque.contains(range)) continue;
      throw refusalAt(node, "map-policy", `a slot of form "${form.name}" at offset ${grouped(range.begin)}`,
        "inside an opaque block, whose bytes belong to the wrapping alone",
        "declare the slot's bytes as an opaque block, or correct the place");
    }
  }
}

// The same judgement, `lint(own, form)`, over the own checksums of every form.
export function lintFormFiles(draft, lint) {
  for (const [form, own] of draft.formFiles) {
    own.checksumBytes = draft.checksumBytes;
    lint(own, form);
    draft.checksumBytes = own.checksumBytes;
  }
}
