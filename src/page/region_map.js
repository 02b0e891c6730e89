// From text to a region map, docs/region-map.md: the top level, the memories and the evidence; everything else has its own
// file. Repetitions are expanded ("blocks[0]", "blocks[1]", ...); whatever lies somewhere is {memory, range}.

import { grouped, printable, addressText, rangeText } from "./bytes.js";
import { Refusal } from "./reason.js";
import { INTEGER_LIMIT, JsonObject, parseJson } from "./json.js";
import { Draft, LIST_LIMIT, MEMORY_LIMIT, NameList, checkedRange, readMapLine, readMapName, readNote, readSize } from "./region_map_draft.js";
import { readCopies, readIdentityFields, readLink, readPatches, readRecognition, readRegions, readSectors, readSignedParts, checkSoftwareNumbers } from "./region_map_sections.js";
import { lintFormFiles, lintFormSlots, readForms } from "./region_map_forms.js";
import { readChecksums } from "./region_map_checksums.js";
import { readItems } from "./region_map_items.js";
import { lintOverlaps, lintPolicies } from "./region_map_lint.js";
import { lintChecksums } from "./region_map_arithmetic.js";
import { rangeHolds, rangesOverlap } from "./place.js";
import { RangeSet } from "./range_set.js";

export const REGION_MAP_MOST = 2 ** 20;  // bytes of JSON
const IMAGE_LIMIT = 2 ** 28;     // bytes, all memories together
const MAP_KIND = "region-map/";
const MAP_FORMAT = "region-map/1";

// The kind decides before anything else: another format has other keys.
function readKind(top) {
  const node = top.required("calseal");
  const kind = node.text();
  if (kind === MAP_FORMAT) return;
  node.refuse(kind.startsWith(MAP_KIND) ? "format-unknown" : "type-wrong", `"${printable(kind, 60)}"`, `"${MAP_FORMAT}"`);
}

function readSegments(draft, object, memory) {
  const list = object.optional("segments");
  memory.segments = [];
  if (list === undefined) memory.segments.push(memory.extent);
  const nodes = list === undefined ? [] : list.items(LIST_LIMIT);
  if (list !== undefined && nodes.length === 0) list.refuse("json-value", "no segment", "at least one, or no such key");
  for (const node of nodes) {
    const segment = new JsonObject(node);
    const begin = segment.required("start").address();
    const size = readSize(segment);
    segment.done();
    const range = checkedRange(begin, size);
    if (range === undefined || size === 0 || !rangeHolds(memory.extent, range)) {
      draft.note("ranges", node, "map-range", `${size} bytes from ${addressText(begin)}`,
        `at least one byte inside ${memory.name} ${rangeText(memory.extent)}`, "correct start or size of the segment");
      continue;
    }
    const before = memory.segments.at(-1);
    if (before !== undefined && range.begin < before.end) {
      const twice = rangesOverlap(range, before);
      draft.note(twice ? "overlaps" : "ranges", node, twice ? "map-overlap" : "map-range",
        `${rangeText(range)} after ${rangeText(before)}`, "segments in ascending order, apart from each other",
        "sort the segments, or merge the two");
      continue;
    }
    memory.segments.push(range);
  }
  draft.exists.push(new RangeSet(memory.segments));
}

function readMemories(draft, top) {
  const list = top.required("memories");
  const nodes = list.items(MEMORY_LIMIT);
  if (nodes.length === 0) list.refuse("json-value", "no memory", `1 to ${MEMORY_LIMIT} memories`);
  const names = new NameList();
  let total = 0;
  for (const node of nodes) {
    const object = new JsonObject(node);
    const memory = { name: names.read(draft, object), fill: 0xff, holeIsFill: false };
    const origin = object.required("origin").address();
    const size = readSize(object);
    const extent = checkedRange(origin, size);
    if (extent === undefined || size === 0) {
      draft.note("ranges", node, "map-range", `${size} bytes from ${addressText(origin)}`,
        "at least one byte, none above 0xffffffff", "correct origin or size of the memory");
    }
    memory.extent = extent ?? { begin: origin, end: origin };
    total += size;
    if (total > IMAGE_LIMIT) {
      draft.note("ranges", node, "map-range", `${grouped(total)} bytes in all memories up to this one`,
        `at most ${grouped(IMAGE_LIMIT)}`, "correct the size");
    }
    if (object.has("fill")) memory.fill = object.required("fill").hex(1, 1)[0];
    if (object.has("hole_is_fill")) memory.holeIsFill = object.required("hole_is_fill").boolean();
    readSegments(draft, object, memory);
    object.done();
    draft.map.memories.push(memory);
  }
}

function readDigest(node) {
  const text = node.text();
  if (!/^[0-9a-f]{64}$/.test(text)) {
    node.refuse("json-value", `"${printable(text, 70)}"`, "a SHA-256 as 64 lower-case hexadecimal digits");
  }
  return text;
}

function readEvidence(draft, top) {
  const node = top.required("evidence");
  const object = new JsonObject(node);
  const evidence = { author: readMapLine(object.required("author")) };
  evidence.verifiedOn = object.required("verified_on").items(LIST_LIMIT).map(readDigest);
  evidence.guesses = object.required("guesses").items(LIST_LIMIT).map(readMapLine);
  draft.map.grade = object.required("grade").choice(["draft", "verified"]);
  if (draft.map.grade === "verified" && evidence.verifiedOn.length === 0) {
    node.refuse("json-value", 'grade "verified" and no digest in "verified_on"',
      "the pinned digest of at least one read that the map was verified on");
  }
  object.done();
  draft.map.evidence = evidence;
}

function readTop(draft, top) {
  const { map } = draft;
  map.name = readMapName(top.required("name"));
  const title = top.optional("title");
  map.title = title === undefined ? "" : readMapLine(title);
  map.controller = readMapName(top.required("controller"));
  map.version = top.required("version").integer(1, INTEGER_LIMIT);
  map.note = readNote(top);
  readMemories(draft, top);
  readRecognition(draft, top);
  readForms(draft, top);
  readRegions(draft, top);
  readPatches(draft, top);
  readCopies(draft, top);
  readChecksums(draft, top);
  readIdentityFields(draft, top);
  checkSoftwareNumbers(draft);
  readSignedParts(draft, top);
  readSectors(draft, top);
  readItems(draft, top);
  readLink(draft, top);
  const succeeds = top.optional("succeeds");
  if (succeeds !== undefined) readDigest(succeeds);
  readEvidence(draft, top);
  top.done();
}

// Parses and lints a region map. The first fault is thrown: strict JSON, then shape, names, ranges, overlaps, policies,
// checksum arithmetic.
export function readRegionMap(bytes, name) {
  if (bytes.length === 0) {
    throw new Refusal("file-empty", { file: name, found: "0 bytes", expected: "a region map", next: "get the file again" });
  }
  if (bytes.length > REGION_MAP_MOST) {
    throw new Refusal("file-too-large", { file: name, found: `${grouped(bytes.length)} bytes`,
      expected: `at most ${grouped(REGION_MAP_MOST)} bytes`, next: "make sure that this is a region map" });
  }
  const draft = new Draft();
  const top = new JsonObject(parseJson(bytes, name));
  readKind(top);
  readTop(draft, top);
  draft.throwFirst();
  lintOverlaps(draft);
  lintFormFiles(draft, lintOverlaps);
  lintPolicies(draft);
  lintFormFiles(draft, (own, form) => {
    lintFormSlots(form, own);
    lintPolicies(own);
  });
  lintChecksums(draft);
  lintFormFiles(draft, lintChecksums);
  return draft.map;
}
