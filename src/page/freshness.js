// Step freshness of docs/proof.md: what is erased and written again was read, and is new enough.

import { rangeText } from "./bytes.js";
import { Refusal } from "./reason.js";
import { placeText, setsOf } from "./place.js";

// 1. Erasing takes the whole sector.
function sectorsWereRead({ map, cut, baseKnown, words }, sectors) {
  for (const { memory, range } of sectors) {
    const missing = baseKnown[memory].within(range);
    missing.removeAll(cut.memories[memory].known.within(range));
    if (missing.empty) continue;
    throw new Refusal("read-incomplete", { place: placeText(map, { memory, range: missing.ranges[0] }),
      found: `bytes that ${words.read} does not hold, in an erase sector to be written`, expected: "every byte of such a sector",
      next: "read the controller again, with all the memories of the first read" });
  }
}

// Bytes owned by nodes that read learned bytes, themselves or through others.
function ownedByLearned({ map, plan }) {
  return setsOf(map, plan.nodes.filter((node) => node.readsLearned).flatMap((node) => node.writes));
}

function stale(place, found) {
  return new Refusal("read-not-fresh", { place, found, expected: "a read that is declared fresh",
    next: "read the controller now, do not drive in between, and declare the read fresh" });
}

// 2.
function sectorsAreFresh({ map, plan }, sectors, owned) {
  for (const sector of sectors) {
    for (const [sets, what] of [[plan.learned, "learned bytes"], [owned, "a checksum or copy of learned bytes"]]) {
      const held = sets[sector.memory].within(sector.range);
      if (held.empty) continue;
      throw stale(`sector ${placeText(map, sector)}`, `an erase sector to be written that also holds ${what} at ${rangeText(held.ranges[0])}`);
    }
  }
}

function writeRangesAreFresh({ map }, written, owned) {
  for (const [memory, set] of written.entries()) {
    const held = owned[memory].intersect(set);
    if (held.empty) continue;
    throw stale(placeText(map, { memory, range: held.ranges[0] }), "a checksum or copy to be written that reads learned bytes");
  }
}

export function proveFreshness(proof) {
  const { written } = proof;
  const sectors = proof.map.sectors.filter(({ memory, range }) => written[memory].overlaps(range));
  sectorsWereRead(proof, sectors);
  if (proof.evidence.readIsFresh) return;
  const owned = ownedByLearned(proof);
  sectorsAreFresh(proof, sectors, owned);
  writeRangesAreFresh(proof, written, owned);
}
