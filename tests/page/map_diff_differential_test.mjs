// A region map and one that chance has bent, compared by the page and by `calseal regions diff`: what widens, in both directions.
// Printed seed; CALSEAL_PAGE_MAPS draws more.
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { test } from "node:test";

import { widening } from "../../src/page/map_diff.js";
import { Refusal } from "../../src/page/reason.js";
import { readRegionMap } from "../../src/page/region_map.js";
import { bendText } from "./damages.mjs";
import { listFixtures, readFixture, seededRandom } from "./support.mjs";

const CASES = Number(process.env.CALSEAL_PAGE_MAPS ?? 1000) / 10;
const folder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-page-maps-"));
process.on("exit", () => fs.rmSync(folder, { recursive: true, force: true }));

function read(bytes) {
  try {
    return readRegionMap(new Uint8Array(bytes), "map");
  } catch (fault) {
    if (fault instanceof Refusal) return undefined;
    throw fault;
  }
}

// Bent until it says something else and still is a region map.
function bentMap(random, text) {
  for (;;) {
    const [bytes, how] = bendText(random, text);
    const map = read(bytes);
    if (map !== undefined && bytes.toString() !== text) return { bytes, map, how };
  }
}

// "bytes; declarations" of what widens; "" where nothing does.
function askProgram(before, after) {
  const run = spawnSync(process.env.CALSEAL, ["regions", "diff", "--json", before, after], { encoding: "utf8", maxBuffer: 2 ** 28 });
  assert.equal(run.signal, null, run.stderr);
  const told = JSON.parse(run.stdout);
  assert.equal(run.status, told.widens ? 1 : 0);
  if (!told.widens) return "";
  const bytes = told.policies.filter(({ widens }) => widens).reduce((sum, { size }) => sum + size, 0);
  return `${bytes} bytes, ${told.declarations.filter(({ widens }) => widens).length} declarations`;
}

function askPage(before, after) {
  const found = widening(before, after);
  return found === null ? "" : `${found.bytes} bytes, ${found.declarations.length} declarations`;
}

test("two region maps are compared alike", () => {
  const random = seededRandom("two region maps");
  const good = listFixtures("region_maps", "good").map((name) => readFixture("region_maps", "good", name));
  good.push(readFixture("demo", "engine.regions.json"), readFixture("demo", "transmission.regions.json"));
  const wrong = [];
  let wider = 0;
  for (let i = 0; i < CASES; ++i) {
    const text = Buffer.from(random.pick(good)).toString();
    const bent = bentMap(random, text);
    const maps = [read(Buffer.from(text)), bent.map];
    const files = [Buffer.from(text), bent.bytes].map((bytes, k) => {
      const file = path.join(folder, `${k}.json`);
      fs.writeFileSync(file, bytes);
      return file;
    });
    for (const [from, to] of [[0, 1], [1, 0]]) {
      const [told, found] = [askProgram(files[from], files[to]), askPage(maps[from], maps[to])];
      if (told !== "") ++wider;
      if (found !== told) wrong.push(`case ${i}, ${bent.how}, ${from} to ${to}: ${told || "nothing"} or ${found || "nothing"}`);
    }
  }
  console.log(`# CALSEAL_SEED=${random.seed}: ${wider} of ${2 * CASES} widen`);
  assert.ok(CASES < 20 || (wider > 0 && wider < 2 * CASES));
  assert.deepEqual(wrong.slice(0, 20), [], `CALSEAL_SEED=${random.seed}, ${wrong.length} of ${2 * CASES}`);
});
