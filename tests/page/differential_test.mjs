// The page's core and calseal-check on the same damaged files: the same verdict, reason, steps, cautions, evidence, images
// and state. Printed seed; CALSEAL_PAGE_CASES draws more.
import assert from "node:assert/strict";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { test } from "node:test";

import { differences } from "./answers.mjs";
import { askBoth } from "./both.mjs";
import { copyOf, damage, poolOf } from "./damages.mjs";
import { demoSituations } from "./demo.mjs";
import { allSituations } from "./scenarios.mjs";
import { seededRandom } from "./support.mjs";

const CASES = Number(process.env.CALSEAL_PAGE_CASES ?? 600);
const DEMO_CASES = Math.ceil(CASES / 10); // 4 MiB each
const demoFolder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-page-demo-"));
process.on("exit", () => fs.rmSync(demoFolder, { recursive: true, force: true }));

const situations = allSituations();
const demo = demoSituations(demoFolder);

async function compareAll(list) {
  const wrong = [];
  let good = 0;
  for (const situation of list) {
    const [checker, page] = await askBoth(situation);
    if (checker.verdict !== "refused") ++good;
    wrong.push(...differences(checker, page).map((text) => `${situation.name}: ${text}`));
    if (process.env.CALSEAL_PAGE_SHOW) console.log(situation.name, checker.verdict, checker.reason);
  }
  assert.deepEqual(wrong.slice(0, 10), []);
  return good;
}

// Gives how often each answer was given.
async function compareDamaged(list, cases, salt) {
  const random = seededRandom(salt);
  console.log(`# CALSEAL_SEED=${random.seed}, ${cases} cases`);
  const pool = poolOf(list);
  const wrong = [];
  const answers = new Map();
  for (let i = 0; i < cases; ++i) {
    const situation = copyOf(random.pick(list));
    let how = damage(random, situation, pool);
    if (random.below(6) === 0) how += ` and ${damage(random, situation, pool)}`;
    const [checker, page] = await askBoth(situation);
    const answer = checker.reason || checker.verdict;
    answers.set(answer, (answers.get(answer) ?? 0) + 1);
    wrong.push(...differences(checker, page).map((text) => `case ${i}, ${situation.name}; ${how}: ${text}`));
  }
  console.log(`# ${[...answers].sort((a, b) => b[1] - a[1]).map(([reason, count]) => `${reason} ${count}`).join(", ")}`);
  assert.deepEqual(wrong.slice(0, 20), [], `CALSEAL_SEED=${random.seed}`);
  return answers;
}

test("sound situations are judged alike", async () => {
  const good = await compareAll(situations);
  assert.ok(good >= 45, `${good} of ${situations.length} hold`);
});

test("the demo is judged alike", async () => {
  assert.ok((await compareAll(demo)) >= 7);
});

test("damaged situations are judged alike", async () => {
  assert.ok(CASES >= 300);
  const answers = await compareDamaged(situations, CASES, "differential");
  assert.ok(answers.size >= 25, `${answers.size} answers`);
});

test("the demo's files, damaged, are judged alike", async () => {
  const answers = await compareDamaged(demo, DEMO_CASES, "demo");
  assert.ok(answers.size >= 8, `${answers.size} answers`);
});
