// Region maps that chance has bent, read by the page and by `calseal regions lint`: the same reason, or none on both sides.
// Printed seed; CALSEAL_PAGE_MAPS draws more.
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { test } from "node:test";

import { blankImage } from "../../src/page/image.js";
import { makePlan } from "../../src/page/plan.js";
import { Refusal } from "../../src/page/reason.js";
import { readRegionMap } from "../../src/page/region_map.js";
import { bendText } from "./damages.mjs";
import { listFixtures, readFixture, seededRandom } from "./support.mjs";

const CASES = Number(process.env.CALSEAL_PAGE_MAPS ?? 1000);
const BATCH = 50;
const folder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-page-maps-"));
process.on("exit", () => fs.rmSync(folder, { recursive: true, force: true }));

// Tables in the image say what is covered; where there is no image the linter leaves the plan alone.
function askPage(bytes) {
  try {
    const map = readRegionMap(bytes, "map");
    makePlan(map, blankImage(map));
    return "";
  } catch (fault) {
    if (!(fault instanceof Refusal)) return `${fault.stack}`;
    return fault.code === "read-incomplete" ? "" : fault.code;
  }
}

function askLinter(files) {
  const run = spawnSync(process.env.CALSEAL, ["regions", "lint", "--json", ...files], { encoding: "utf8", maxBuffer: 2 ** 28 });
  assert.equal(run.signal, null, run.stderr);
  return JSON.parse(run.stdout).maps.map(({ fault }) => fault.reason ?? "");
}

test("bent region maps are read alike", () => {
  const random = seededRandom("region maps");
  const good = listFixtures("region_maps", "good").map((name) => readFixture("region_maps", "good", name));
  good.push(readFixture("demo", "engine.regions.json"), readFixture("demo", "transmission.regions.json"));
  const wrong = [];
  const reasons = new Map();
  for (let done = 0; done < CASES; done += BATCH) {
    const batch = Array.from({ length: BATCH }, () => bendText(random, Buffer.from(random.pick(good)).toString()));
    const files = batch.map(([bytes], i) => {
      const file = path.join(folder, `${i}.json`);
      fs.writeFileSync(file, bytes);
      return file;
    });
    askLinter(files).forEach((told, i) => {
      reasons.set(told, (reasons.get(told) ?? 0) + 1);
      const found = askPage(new Uint8Array(batch[i][0]));
      if (found !== told) wrong.push(`case ${done + i}, ${batch[i][1]}: ${told || "holds"} or ${found || "holds"}`);
    });
  }
  console.log(`# CALSEAL_SEED=${random.seed}: ${[...reasons].sort((a, b) => b[1] - a[1]).map(([reason, count]) => `${reason || "holds"} ${count}`).join(", ")}`);
  assert.deepEqual(wrong.slice(0, 20), [], `CALSEAL_SEED=${random.seed}, ${wrong.length} of ${CASES}`);
});
