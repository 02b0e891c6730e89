// Two region maps compared: what the later one allows that the earlier one did not. docs/region-map.md, "Two maps compared".
//
// Indexes of memories are those of their own map, so whatever is compared names its memory.

import { bytesText, grouped, toHex } from "./bytes.js";
import { writtenPlaces } from "./region_map_checksums.js";
import { comparePlaces, memoryIndexOf } from "./place.js";

const NAMED_MOST = 3;  // of a list, before "and 7 more"

function derivedPlaces(map) {
  const owned = map.checksums.flatMap(writtenPlaces);
  return [...owned, ...map.copies].sort(comparePlaces);
}

// Policies of one memory, asked for at ascending addresses.
class PolicyWalk {
  constructor(map, derived, memory) {
    const ofMemory = (place) => place.memory === memory;
    this.regions = map.regions.filter(ofMemory);
    this.derived = derived.filter(ofMemory);
    this.inRegions = 0;
    this.inDerived = 0;
  }

  edges() {
    return [...this.regions, ...this.derived].flatMap(({ range }) => [range.begin, range.end]);
  }

  moveTo(address) {
    while (this.regions[this.inRegions]?.range.end <= address) ++this.inRegions;
    while (this.derived[this.inDerived]?.range.end <= address) ++this.inDerived;
    const region = this.regions[this.inRegions];
    this.region = region !== undefined && region.range.begin <= address ? region : undefined;
    this.policy = this.derived[this.inDerived]?.range.begin <= address ? "derived" : this.region?.policy ?? "locked";
  }
}

function policyWidens(before, after) {
  if (before === after) return false;
  return before === "locked" || after === "editable" || (before === "derived" && after === "volatile");
}

// 1. {bytes, regions}: how many bytes, and the names of the later map's regions that hold them, the memory's where none does.
function widenedBytes(a, b) {
  const [ownedA, ownedB] = [a, b].map(derivedPlaces);
  const regions = new Set();
  let bytes = 0;
  for (const [memory, { name }] of b.memories.entries()) { // in any other everything is locked then
    const before = new PolicyWalk(a, ownedA, memoryIndexOf(a, name));
    const after = new PolicyWalk(b, ownedB, memory);
    const edges = [...new Set([...before.edges(), ...after.edges()])].sort((one, other) => one - other);
    for (let i = 0; i + 1 < edges.length; ++i) {
      for (const walk of [before, after]) walk.moveTo(edges[i]);
      if (!policyWidens(before.policy, after.policy)) continue;
      bytes += edges[i + 1] - edges[i];
      regions.add(after.region?.name ?? name);
    }
  }
  return { bytes, regions: [...regions] };
}

// What a declaration says, as one text: algorithms by their parameters, defaults filled in; names of its own and notes apart.
function textOfDeclaration(parts) {
  return JSON.stringify(parts, (_, value) => (typeof value === "bigint" ? String(value) : value instanceof Uint8Array ? toHex(value) : value));
}

function placeParts(map, { memory, range }) {
  return [map.memories[memory].name, range.begin, range.end];
}

function algorithmParts({ kind, crc, sum, width, order }) {
  if (kind === "crc") return [kind, crc.width, crc.poly, crc.init, crc.refin, crc.refout, crc.xorout];
  if (kind === "sum") return [kind, sum.unit, sum.order, sum.operation, sum.accumulator, sum.init];
  return [kind, width, order];
}

function coverageParts(map, part) {
  if (part.kind === "literal") return [part.kind, part.bytes];
  if (part.kind === "range") return [part.kind, ...placeParts(map, part)];
  const { table, own } = part; // which record is its own, the name of the checksum says
  return [part.kind, map.memories[table.memory].name, table.at, table.records, table.recordSize, table.order, table.startAt, table.endAt,
    table.end, map.memories[table.pointsInto].name, table.skipBlank, own];
}

function slotParts(map, slot) {
  return [...placeParts(map, slot), slot.order, slot.encoding, slot.transform, slot.from, slot.bits];
}

function ruleParts(map, { equals, balance }) {
  return [equals, balance === undefined ? [] : [...placeParts(map, balance), balance.order]];
}

function checksumParts(map, { algorithm, coverage, substitutes, swap, complement, add, bits, slots, rule }) {
  return [algorithmParts(algorithm), coverage.map((part) => coverageParts(map, part)), substitutes.map((place) => [...placeParts(map, place), place.as]),
    swap, complement, add, bits, slots.map((slot) => slotParts(map, slot)), rule === undefined ? [] : ruleParts(map, rule)];
}

function copyParts(map, copy) {
  const { of, transform, offset, activeBank } = copy;
  const bank = activeBank === undefined ? [] : [...placeParts(map, activeBank), activeBank.equals];
  return [...placeParts(map, copy), ...placeParts(map, of), transform, offset, bank];
}

// Kinds of declarations with a name: [what it is called, the list, what it says, whether one that is new or gone widens].
const ALWAYS = () => true;
const NEVER = () => false;
const DECLARATIONS = [
  ["memory", (map) => map.memories, (_, { extent, segments, fill, holeIsFill }) => [extent, segments, fill, holeIsFill], ALWAYS, ALWAYS],
  ["permitted patch", (map) => map.patches, (map, patch) => [...placeParts(map, patch), patch.before, patch.after], ALWAYS, NEVER],
  ["copy", (map) => map.copies, copyParts, NEVER, ALWAYS],
  ["checksum", (map) => map.checksums, checksumParts, NEVER, ALWAYS],
  ["identity field", (map) => map.identity,
    (map, field) => [...placeParts(map, field), field.kind, field.encoding, field.pattern, field.binds], NEVER, ({ binds }) => binds],
  ["signed part", (map) => map.signedParts, (map, { places }) => places.map((place) => placeParts(map, place)), NEVER, ALWAYS],
];

// 2. to 5., as texts; those of one kind by name.
function widenedDeclarations(a, b) {
  return DECLARATIONS.flatMap(([kind, listOfMap, parts, newWidens, goneWidens]) => {
    const [before, after] = [a, b].map((map) => new Map(listOfMap(map).map((one) => [one.name, one])));
    return [...new Set([...before.keys(), ...after.keys()])].sort().flatMap((name) => {
      const [one, other] = [before.get(name), after.get(name)];
      if (one === undefined) return newWidens(other) ? [`${kind} ${name} is new`] : [];
      if (other === undefined) return goneWidens(one) ? [`${kind} ${name} is gone`] : [];
      return textOfDeclaration(parts(a, one)) === textOfDeclaration(parts(b, other)) ? [] : [`${kind} ${name} is different`];
    });
  });
}

// What stands in a map once: the way of recognising the controller, and the erase sectors.
function widenedWhole(what, before, after) {
  if (before.length === 0 || textOfDeclaration(before) === textOfDeclaration(after)) return [];
  return [`${what} ${after.length === 0 ? "gone" : "different"}`];
}

// 6.
function recognitionParts(map) {
  const { all, softwareNumbers } = map.recognition;
  if (all.length === 0 && softwareNumbers.length === 0) return [];
  return [all.map((match) => [...placeParts(map, match), match.bytes, match.mask]), softwareNumbers];
}

// 7. The memories may stand in another order.
function sectorParts(map) {
  return map.sectors.map((sector) => placeParts(map, sector).join(" ")).sort();
}

// {bytes, regions, declarations}, or null where the later map `b` does not widen `a`.
export function widening(a, b) {
  const { bytes, regions } = widenedBytes(a, b);
  const declarations = [
    ...widenedDeclarations(a, b),
    ...widenedWhole("recognition rule is", recognitionParts(a), recognitionParts(b)),
    ...widenedWhole("erase sectors are", sectorParts(a), sectorParts(b)),
  ];
  return bytes === 0 && declarations.length === 0 ? null : { bytes, regions, declarations };
}

function someOf(texts) {
  const left = texts.length - NAMED_MOST;
  return texts.slice(0, NAMED_MOST).join(", ") + (left > 0 ? ` and ${grouped(left)} more` : "");
}

// "the shop's rules now allow 4,096 more bytes to change, boot among them; checksum tables is gone": the sentence of the C++ checker.
export function wideningText({ bytes, regions, declarations }) {
  if (bytes === 0) return `the shop's rules are looser now: ${someOf(declarations)}`;
  const more = `the shop's rules now allow ${bytesText(bytes).replace(" ", " more ")} to change, ${someOf(regions)} among them`;
  return declarations.length === 0 ? more : `${more}; ${someOf(declarations)}`;
}
