// Every row of fixtures/bundles/index.json: the verdict, the reason and the rebuilt files that the format's own vectors state.
import assert from "node:assert/strict";
import { test } from "node:test";

import "./platform.mjs";
import { checkBundle } from "../../src/page/check.js";
import { lacking } from "../../src/page/platform.js";
import { sha256 } from "../../src/page/digest.js";
import { readFixture, readFixtureJson } from "./support.mjs";

const named = (name) => ({ name, bytes: readFixture("bundles", name) });

function judge(row) {
  const reads = row.reads.map((read) => {
    const [memory, name] = read.split("=");
    return { memory, ...named(name) };
  });
  return checkBundle({
    bundle: named(row.bundle),
    trust: named(row.trust),
    statedRoot: row.stated_root,
    reads,
    salt: row.salt === "" ? null : named(row.salt),
    evidence: { readIsFresh: row.read_is_fresh, vehicleReference: row.vehicle_reference },
    revive: row.revive,
    sealOnly: row.seal_only,
    now: row.now,
  });
}

test("this platform can do what the page needs", async () => {
  assert.deepEqual(await lacking(), []);
});

test("every vector has its verdict, its reason and its files", async () => {
  const { vectors } = readFixtureJson("bundles", "index.json");
  assert.ok(vectors.length >= 249);
  const wrong = [];
  for (const row of vectors) {
    const verdict = await judge(row);
    const found = verdict.reason === null ? verdict.outcome : verdict.reason.code;
    if (found !== row.expect) wrong.push(`${row.name}: ${found}, not ${row.expect}: ${JSON.stringify(verdict.reason)}`);
    if (row.expect !== "accepted") continue;
    const results = {};
    for (const file of verdict.files) results[file.memory] = await sha256(file.bytes);
    if (JSON.stringify(results) !== JSON.stringify(row.results)) wrong.push(`${row.name}: other files ${JSON.stringify(results)}`);
  }
  assert.deepEqual(wrong, []);
});
