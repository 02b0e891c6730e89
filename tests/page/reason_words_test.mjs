// Every reason that the page can show has one plain sentence and one of what to do, in words of people who know cars.
import assert from "node:assert/strict";
import fs from "node:fs";
import path from "node:path";
import { test } from "node:test";

import { REASONS, Refusal } from "../../src/page/reason.js";
import { REASON_WORDS_EN } from "../../src/page/reason_words_en.js";
import { PROJECT } from "./support.mjs";

// Words of programmers, of the format, and of programs.
const UNKNOWN_WORDS = /json|digest|sha-?\d|hash|manifest|canonical|utf|hexa|\bhex\b|crc|checksum|\bbytes?\b|offset|pointer|pars[ei]|syntax|header|framing|payload|region map|\bspans?\b|derived|threshold|\broots?\b|ledger|bundle|prefix|\bentry\b|entries|stderr|exit|deflate|\bzip\b|calseal[ -]|`|(^|\s)--?[a-z]|0x|[_{}<>\\]/i;
const entries = Object.entries(REASON_WORDS_EN);

test("the table has exactly the reasons that the page knows", () => {
  assert.deepEqual(Object.keys(REASON_WORDS_EN).sort(), Object.keys(REASONS).sort());
  assert.throws(() => new Refusal("not-a-reason"), RangeError, "no other can be raised");
});

test("every reason of the sources stands in it, however it is raised", () => {
  const folder = path.join(PROJECT, "src", "page");
  const inc = fs.readFileSync(path.join(PROJECT, "src", "calseal", "base", "reasons.inc"), "utf8");
  const known = new Set([...inc.matchAll(/^CALSEAL_REASON\(\w+, "([^"]+)"/gm)].map(([, code]) => code));
  const raised = new Set();
  for (const name of fs.readdirSync(folder)) {
    if (!name.endsWith(".js") || /^(reason|reason_words_\w+)\.js$/.test(name)) continue;
    // A code may go through a table or a parameter, so every text that is one counts where refusals are made.
    const source = fs.readFileSync(path.join(folder, name), "utf8");
    if (!/Refusal|refuse/.test(source)) continue;
    for (const [, text] of source.matchAll(/"([a-z0-9-]+)"/g)) if (known.has(text)) raised.add(text);
  }
  assert.ok(raised.size > 80, String(raised.size));
  assert.deepEqual([...raised].filter((code) => !Object.hasOwn(REASON_WORDS_EN, code)), []);
});

test("each says one sentence, and what to do, in words that need no explanation", () => {
  for (const [code, { says, act }] of entries) {
    for (const text of [says, act]) {
      assert.match(text, /^[A-Z].*[.?!]$/, code);
      assert.doesNotMatch(text.replaceAll(".calseal", ""), UNKNOWN_WORDS, code);
    }
    assert.equal(says.match(/[.?!](\s|$)/g).length, 1, `${code}: one sentence`);
    assert.ok(says.length <= 100 && act.length <= 160, `${code}: fits a phone`);
  }
});

test("the words that must not stand there are noticed", () => {
  for (const text of ["The JSON is broken.", "Use --salt.", "SHA-256 differs.", "run `calseal regions`", "the manifest", "at 0x80"]) assert.match(text, UNKNOWN_WORDS);
});
