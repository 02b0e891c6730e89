// The rules of src/page/README.md that let the files become one page, and the one list of reasons.
import assert from "node:assert/strict";
import fs from "node:fs";
import path from "node:path";
import { test } from "node:test";

import { REASONS } from "../../src/page/reason.js";
import { PROJECT } from "./support.mjs";

const FOLDER = path.join(PROJECT, "src", "page");
const files = fs.readdirSync(FOLDER).filter((name) => name.endsWith(".js"));
const sources = files.map((name) => [name, fs.readFileSync(path.join(FOLDER, name), "utf8")]);

test("a top-level name stands in one file only", () => {
  const owners = new Map();
  const twice = [];
  for (const [file, source] of sources) {
    for (const [, name] of source.matchAll(/^(?:export )?(?:async )?(?:const|let|class|function)\*? +([A-Za-z_$][\w$]*)/gm)) {
      if (owners.has(name)) twice.push(`${name} in ${owners.get(name)} and ${file}`);
      owners.set(name, file);
    }
  }
  assert.ok(owners.size > 100);
  assert.deepEqual(twice, []);
});

test("imports and exports are of the one style", () => {
  const wrong = [];
  for (const [file, source] of sources) {
    const imports = [...source.matchAll(/^import\s[^;]*;/gm)].map(([text]) => text);
    for (const text of imports) {
      const match = /^import \{[\s\w$,]+\} from "\.\/([a-z0-9_]+\.js)";$/.exec(text);
      if (match === null || / as /.test(text) || !files.includes(match[1])) wrong.push(`${file}: ${text}`);
    }
    for (const [text] of source.matchAll(/^export .*/gm)) {
      if (!/^export (async function|function\*?|const|class) /.test(text)) wrong.push(`${file}: ${text}`);
    }
    if (/\bimport\(|\beval\(|new Function|\bfetch\(|XMLHttpRequest|WebSocket/.test(source)) wrong.push(`${file}: reaches out`);
  }
  assert.deepEqual(wrong, []);
});

test("no file imports itself, however far round", () => {
  const imports = new Map(sources.map(([file, source]) => [file, [...source.matchAll(/from "\.\/([^"]+)"/g)].map(([, name]) => name)]));
  const done = new Set();
  const visit = (file, way) => {
    assert.ok(!way.includes(file), `${way.join(" -> ")} -> ${file}`);
    if (done.has(file)) return;
    for (const next of imports.get(file)) visit(next, [...way, file]);
    done.add(file);
  };
  for (const file of files) visit(file, []);
});

test("every reason has the code and the sentence of the C++ table", () => {
  const table = fs.readFileSync(path.join(PROJECT, "src", "calseal", "base", "reasons.inc"), "utf8");
  const rows = new Map([...table.matchAll(/^CALSEAL_REASON\(\w+, "([^"]+)", \w+, "([^"]+)"/gm)].map(([, code, meaning]) => [code, meaning]));
  assert.ok(rows.size > 100);
  for (const [code, meaning] of Object.entries(REASONS)) assert.equal(meaning, rows.get(code), code);
});

test("every reason that the sources name is in the list", () => {
  const missing = [];
  for (const [file, source] of sources) {
    for (const [, code] of source.matchAll(/new Refusal\(\s*"([a-z0-9-]+)"/g)) if (!Object.hasOwn(REASONS, code)) missing.push(`${file}: ${code}`);
    for (const [, code] of source.matchAll(/\brefuse\(\s*"([a-z0-9-]+)"/g)) if (!Object.hasOwn(REASONS, code)) missing.push(`${file}: ${code}`);
  }
  assert.deepEqual(missing, []);
});
