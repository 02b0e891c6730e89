// Region maps as the page reads them: the fixtures that hold, and those that do not with the reason and place that the C++
// reader gives.
import assert from "node:assert/strict";
import { test } from "node:test";

import { Refusal } from "../../src/page/reason.js";
import { readRegionMap } from "../../src/page/region_map.js";
import { parseDecimal } from "../../src/page/region_map_items.js";
import { badMaps, listFixtures, readFixture } from "./support.mjs";

test("every good map is read", () => {
  const names = listFixtures("region_maps", "good");
  assert.ok(names.length >= 5);
  for (const name of names) assert.ok(readRegionMap(readFixture("region_maps", "good", name), name).memories.length > 0);
  for (const name of ["engine.regions.json", "transmission.regions.json"]) readRegionMap(readFixture("demo", name), name);
});

test("every bad map is refused for the reason and at the place of the table", () => {
  const rows = badMaps();
  assert.ok(rows.length > 180);
  const wrong = [];
  for (const { name, text, reason, place } of rows) {
    let found = "accepted";
    try {
      readRegionMap(text, name);
    } catch (refusal) {
      if (!(refusal instanceof Refusal)) throw refusal;
      found = `${refusal.code} ${refusal.place.replace(/ \(line.*|, column.*/, "")}`;
    }
    if (found !== `${reason} ${place}`) wrong.push(`${name}: ${found}, expected ${reason} ${place}`);
  }
  assert.deepEqual(wrong, []);
});

test("repetition stands for writing everything", () => {
  const map = readRegionMap(readFixture("demo", "engine.regions.json"), "engine");
  const blocks = map.checksums.filter((checksum) => checksum.name.startsWith("block["));
  assert.equal(blocks.length, 7);
  assert.deepEqual(blocks.map((block) => block.coverage[0].record), [0, 1, 2, 3, 4, 5, 6]);
});

test("decimals as the page of the format has them", () => {
  assert.deepEqual(parseDecimal("-40"), { digits: -40n, places: 0 });
  assert.deepEqual(parseDecimal("0.0625"), { digits: 625n, places: 4 });
  for (const text of ["", "-", "-0", "+1", "01", "1.", ".5", "1e3", "0x1", "1234567890123456789", "0.1234567890123456789"]) {
    assert.equal(parseDecimal(text), undefined, text);
  }
});
