// The words of the page: whatever a verdict asks a person to know has its words, and what they leave open is filled.
import assert from "node:assert/strict";
import fs from "node:fs";
import path from "node:path";
import { test } from "node:test";

import "./platform.mjs";
import { checkBundle } from "../../src/page/check.js";
import { WORDS } from "../../src/page/words.js";
import { clock } from "./answers.mjs";
import { allSituations } from "./scenarios.mjs";
import { PROJECT } from "./support.mjs";

const FOLDER = path.join(PROJECT, "src", "page");
const placesIn = (text) => [...text.matchAll(/\{([a-z]+)\}/gi)].map(([, name]) => name);

test("every caution that the sources raise has its words", () => {
  const raised = new Set();
  for (const name of fs.readdirSync(FOLDER).filter((one) => one.endsWith(".js") && !one.startsWith("parcel"))) {
    const source = fs.readFileSync(path.join(FOLDER, name), "utf8");
    for (const pattern of [/\.caution\(\s*"([a-z-]+)"/g, /\bcode: "([a-z-]+)"/g, /checksIn\(controller, "[a-z-]+", "([a-z-]+)"/g]) {
      for (const [, code] of source.matchAll(pattern)) raised.add(code);
    }
  }
  assert.ok(raised.size > 25, String(raised.size));
  const variants = Object.keys(WORDS.cautions);
  assert.deepEqual([...raised].filter((code) => code !== "shop" && !variants.some((one) => one.startsWith(code))), []);
});

test("what the words of a caution leave open is filled, in every situation", async () => {
  const seen = new Set();
  const wrong = [];
  for (const { name, files, flags } of allSituations()) {
    const file = (one, called) => (one === null ? null : { name: called, bytes: new Uint8Array(one.bytes) });
    const all = (list, called) => list.map((one) => file(one, called));
    const verdict = await checkBundle({
      bundle: file(files.bundle, "bundle"), trust: file(files.trust, "trust"), successions: all(files.successions, "succession"), partners: all(files.partners, "partner"),
      reads: files.reads.map((one) => ({ memory: one.memory, ...file(one, "read") })), withdrawals: file(files.withdrawals, "withdrawals"), jobList: file(files.jobList, "list"),
      inclusion: file(files.inclusion, "inclusion"), newest: file(files.newest, "newest"), state: file(files.state, "state"), salt: file(files.salt, "salt"), statedRoot: flags.root,
      revive: flags.revive, declaredReturn: flags.declaredReturn, declaredOldBase: flags.oldBase, declaredClock: flags.clockIsRight,
      evidence: { readIsFresh: flags.fresh, salt: null, vehicleReference: flags.vehicle }, now: clock(),
    });
    for (const { code, says = code, parts } of verdict.cautions) {
      seen.add(says);
      if (code === "shop") continue;
      const words = WORDS.cautions[says];
      if (words === undefined) wrong.push(`${name}: no words for ${says}`);
      else for (const place of placesIn(words)) if (!Object.hasOwn(parts, place)) wrong.push(`${name}: ${says} leaves ${place} open`);
    }
  }
  assert.ok(seen.size >= 12, [...seen].join(" "));
  assert.deepEqual(wrong, []);
});
