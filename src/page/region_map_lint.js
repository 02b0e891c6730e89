// Who may claim which byte: overlaps and policies over the expanded map.

import { refusalAt } from "./region_map_draft.js";
import { writtenPlaces } from "./region_map_checksums.js";
import { comparePlaces, placeText, rangesOverlap } from "./place.js";
import { RangeSet } from "./range_set.js";

// A claim is {memory, range, kind, name, node}; `kind` reads as in "slot of checksum".
function claimOf(place, kind, name, node) {
  return { memory: place.memory, range: place.range, kind, name, node };
}

const claimText = (map, claim) => `${claim.kind}${claim.name === "" ? "" : ` "${claim.name}"`} at ${placeText(map, claim)}`;

// Sorts by place and refuses the first claim, in that order, that shares a byte with one before it.
function refuseOverlaps(map, claims, expected) {
  claims.sort(comparePlaces);
  let last;  // of those so far, the one that reaches furthest
  for (const claim of claims) {
    const isSameMemory = last !== undefined && last.memory === claim.memory;
    if (isSameMemory && rangesOverlap(last.range, claim.range)) {
      throw refusalAt(claim.node, "map-overlap", `${claimText(map, claim)}, and ${claimText(map, last)}`, expected,
        "correct start or size of one of the two");
    }
    if (!isSameMemory || last.range.end < claim.range.end) last = claim;
  }
}

function derivedClaims(draft) {
  const { map, nodes } = draft;
  const claims = map.copies.map((copy) => claimOf(copy, "copy", copy.name, nodes.get(copy)));
  for (const { name, slots, rule } of map.checksums) {
    for (const slot of slots) claims.push(claimOf(slot, "slot of checksum", name, slot.node));
    if (rule?.balance) claims.push(claimOf(rule.balance, "balance of checksum", name, rule.balance.node));
  }
  return claims;
}

function exclusiveClaims(draft) {
  const { map, nodes } = draft;
  const claims = map.patches.map((patch) => claimOf(patch, "permitted patch", patch.name, nodes.get(patch)));
  claims.push(...derivedClaims(draft));
  for (const field of map.identity) {
    if (field.binds) claims.push(claimOf(field, "binding field", field.name, nodes.get(field)));
  }
  for (const part of map.signedParts) {
    for (const place of part.places) claims.push(claimOf(place, "signed part", part.name, nodes.get(place)));
  }
  return claims;
}

export function lintOverlaps(draft) {
  const { map, nodes } = draft;
  for (const { name, blocks, omitted } of map.forms) {
    const claims = blocks.filter((block) => block.kind === "memory")
      .map((block) => claimOf(block, "block of form", name, nodes.get(block)));
    claims.push(...omitted.map((place) => claimOf(place, "omitted range of form", name, nodes.get(place))));
    refuseOverlaps(map, claims, "each byte of a memory once in a form");
  }
  refuseOverlaps(map, map.regions.map((region) => claimOf(region, "region", region.name, nodes.get(region))),
    "regions that do not share bytes");
  refuseOverlaps(map, exclusiveClaims(draft),
    "patches, copies, slots, balances, binding fields and signed parts that do not share bytes");
  for (const copy of map.copies) {
    if (copy.memory !== copy.of.memory || !rangesOverlap(copy.range, copy.of.range)) continue;
    throw refusalAt(nodes.get(copy), "map-overlap",
      `copy "${copy.name}" at ${placeText(map, copy)} of ${placeText(map, copy.of)}`, "two places that do not share bytes",
      "correct start or size");
  }
  for (const { name, substitutes } of map.checksums) {
    const claims = substitutes.map((place) => claimOf(place, "substitute of checksum", name, place.node));
    refuseOverlaps(map, claims, "one constant for each byte");
  }
  refuseOverlaps(map, map.sectors.map((sector) => claimOf(sector, "erase sector", "", nodes.get(sector))),
    "erase sectors that do not share bytes");
  refuseOverlaps(map, map.items.map((item) => claimOf(item, "item", item.name, nodes.get(item))),
    "calibration items that do not share bytes");
}

// Bytes by memory.
class ByteSets {
  constructor(memories, places) {
    this.sets = Array.from({ length: memories }, () => new RangeSet());
    // In ascending order, which is what RangeSet is quick for.
    for (const place of [...places].sort(comparePlaces)) this.sets[place.memory].add(place.range);
  }
  touches(place) {
    return this.sets[place.memory].overlaps(place.range);
  }
  holds(place) {
    return this.sets[place.memory].contains(place.range);
  }
}

function misplaced(draft, node, kind, name, place, where, expected, next) {
  return refusalAt(node, "map-policy", `${kind} "${name}" at ${placeText(draft.map, place)}, ${where}`, expected, next);
}

function lintTables(draft, isAllLocked, patched) {
  const { map } = draft;
  for (const { coverage } of map.checksums) {
    for (const { kind, table, own, record: ownRecord, node } of coverage) {
      if (kind !== "table") continue;
      const first = own ? ownRecord : 0;
      const end = own ? ownRecord + 1 : table.records;
      for (let record = first; record < end; ++record) {
        for (const offset of [table.startAt, table.endAt]) {
          const begin = table.at + record * table.recordSize + offset;
          const value = { memory: table.memory, range: { begin, end: begin + 4 } };
          if (isAllLocked(value) && !patched.touches(value)) continue;
          throw refusalAt(node, "map-policy",
            `a value of record ${record} at ${placeText(map, value)} that a revision or the vehicle may change`,
            "start and end values in locked bytes outside permitted patches",
            "lock the table, or declare the ranges in place of it");
        }
      }
    }
  }
}

export function lintPolicies(draft) {
  const { map, nodes } = draft;
  const count = map.memories.length;
  const byPolicy = (policy) => new ByteSets(count, map.regions.filter((region) => region.policy === policy));
  const editable = byPolicy("editable");
  const vehicle = byPolicy("volatile");
  const derivedRegions = byPolicy("derived");
  const derived = new ByteSets(count, [...map.copies, ...map.checksums.flatMap(writtenPlaces)]);
  const patched = new ByteSets(count, map.patches);
  const isAllLocked = (place) => ![editable, vehicle, derivedRegions, derived].some((set) => set.touches(place));

  for (const region of map.regions) {
    if (region.policy !== "derived" || derived.holds(region)) continue;
    throw misplaced(draft, nodes.get(region), "derived region", region.name, region, "not all of it derived",
      "slots, balances and copies over every byte of it", "declare what derives these bytes, or lock them");
  }
  for (const patch of map.patches) {
    if (isAllLocked(patch)) continue;
    throw misplaced(draft, nodes.get(patch), "permitted patch", patch.name, patch, "not all of it locked", "locked bytes alone",
      "move the patch, or correct the regions");
  }
  for (const copy of map.copies) {
    const marker = copy.activeBank;
    if (marker === undefined || (!editable.touches(marker) && !derived.touches(marker))) continue;
    throw misplaced(draft, nodes.get(copy), "marker of the active bank for copy", copy.name, marker,
      "in editable or derived bytes", "locked or volatile bytes", "correct the marker, or the regions");
  }
  lintTables(draft, isAllLocked, patched);
  for (const field of map.identity) {
    if ((field.kind === "vin" || field.kind === "serial") && !field.binds) {
      throw misplaced(draft, nodes.get(field), `field of kind ${field.kind}`, field.name, field, "which does not bind",
        "a field that binds, so that it is not sealed in clear", 'add "binds": true');
    }
    if (field.kind !== "revision-mark") continue;
    if (editable.holds(field) && !derived.touches(field) && !field.binds) continue;
    throw misplaced(draft, nodes.get(field), "revision mark", field.name, field,
      field.binds ? "binding" : "not all of it editable", "a field that does not bind, in editable bytes",
      field.binds ? 'remove "binds"' : "move the mark to editable bytes that nothing uses");
  }
  for (const part of map.signedParts) {
    for (const place of part.places) {
      if (isAllLocked(place)) continue;
      throw misplaced(draft, nodes.get(place), "signed part", part.name, place, "not all of it locked", "locked bytes alone",
        "lock these bytes: no correction can renew a manufacturer's signature");
    }
  }
}
