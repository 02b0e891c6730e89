// The words of the page, in every language: no hole, no word in the code, and whatever a verdict asks a person to know has its words.
import assert from "node:assert/strict";
import fs from "node:fs";
import path from "node:path";
import { test } from "node:test";

import "./platform.mjs";
import { checkBundle } from "../../src/page/check.js";
import { LANGUAGES, languageFor, speak, WORDS } from "../../src/page/words.js";
import { clock } from "./answers.mjs";
import { allSituations } from "./scenarios.mjs";
import { PROJECT } from "./support.mjs";

const FOLDER = path.join(PROJECT, "src", "page");
const sources = fs.readdirSync(FOLDER).filter((name) => name.endsWith(".js")).map((name) => [name, fs.readFileSync(path.join(FOLDER, name), "utf8")]);
const isWords = (name) => /_(en|de)\.js$/.test(name);
const placesIn = (text) => [...text.matchAll(/\{([a-z]+)\}/gi)].map(([, name]) => name);

// Every text and every function of a table, by the way to it.
function leaves(table, way = "") {
  return Object.entries(table).flatMap(([key, value]) => (typeof value === "object" ? leaves(value, `${way}/${key}`) : [[`${way}/${key}`, value]]));
}

// What a text leaves open: marked places, or the parameters that a function uses.
function opens(value) {
  if (typeof value !== "function") return placesIn(value).sort().join(" ");
  const [, parameters, body] = /^(.*?)=>([^]*)$/.exec(value.toString());
  const names = parameters.match(/[a-z]\w*/gi) ?? [];
  return `${parameters.trim()}: ${names.filter((name) => new RegExp(`\\b${name}\\b`).test(body)).sort().join(" ")}`;
}

function holes(tables) {
  const [first, ...others] = Object.values(tables).map((table) => new Map(leaves(table)));
  const wrong = [];
  for (const other of others) {
    for (const key of new Set([...first.keys(), ...other.keys()])) {
      const [a, b] = [first.get(key), other.get(key)];
      if (a === undefined || b === undefined || typeof a !== typeof b) wrong.push(`${key} is not in both`);
      else if (opens(a) !== opens(b)) wrong.push(`${key}: ${opens(a)} and ${opens(b)}`);
      else if (a === "" || b === "") wrong.push(`${key} is empty`);
    }
  }
  return wrong;
}

test("no language has a hole", () => {
  assert.deepEqual(Object.keys(LANGUAGES), ["en", "de"]);
  assert.ok(leaves(LANGUAGES.en).length > 600);
  assert.deepEqual(holes(LANGUAGES), []);
});

test("a hole is noticed", () => {
  assert.deepEqual(holes({ a: { x: "{one}", y: "t", f: (n) => `${n}` }, b: { x: "{two}", f: () => "" } }),
    ["/x: one and two", "/y is not in both", "/f: (n): n and (): "]);
});

test("the languages say different things, and German says Sie", () => {
  const german = new Map(leaves(LANGUAGES.de));
  // Signs and names are alike, sentences are not.
  const alike = leaves(LANGUAGES.en).filter(([key, text]) => typeof text === "string" && / .* /.test(text) && german.get(key) === text).map(([key]) => key);
  assert.deepEqual(alike, []);
  const familiar = [...german].filter(([, text]) => /\b(du|dein\w*|dich|dir|euch|euer)\b/i.test(String(text))).map(([key]) => key);
  assert.deepEqual(familiar, []);
});

test("every German reason fits a phone too", () => {
  for (const [code, { says, act }] of Object.entries(LANGUAGES.de.reasons)) {
    for (const text of [says, act]) assert.match(text, /^[A-ZÄÖÜ].*[.?!]$/, code);
    assert.equal(says.match(/[.?!](\s|$)/g).length, 1, `${code}: one sentence`);
    assert.ok(says.length <= 110 && act.length <= 175, `${code}: ${says.length}, ${act.length}`);
  }
});

test("the page speaks the first language that a person wants and that there is", () => {
  for (const [wanted, expected] of [[["de-AT", "en"], "de"], [["fr", "de"], "de"], [["en-GB", "de"], "en"], [["fr-FR"], "en"], [[], "en"], [["constructor", "de"], "de"]]) {
    assert.equal(languageFor(wanted), expected, wanted.join());
  }
});

test("numbers and dates are written as the language writes them", async () => {
  const { bytesAmount, listText, signedTimeText, sizeText } = await import("../../src/page/amounts.js");
  const said = () => [bytesAmount(1), bytesAmount(1234), sizeText(3 * 2 ** 19), listText(["a", "b", "c"]), signedTimeText("2026-03-04T05:06:07Z").replace(/\s/g, " ")];
  assert.deepEqual(said(), ["1 byte", "1,234 bytes", "1.5 MiB", "a, b and c", "March 4, 2026 at 5:06 AM UTC"]);
  speak("de");
  assert.deepEqual(said(), ["1 Byte", "1.234 Byte", "1,5 MiB", "a, b und c", "4. März 2026 um 05:06 UTC"]);
  speak("en");
});

// What is shown comes from these; all else are technical details, which stay English.
const SHOWN = /^(ui|dom|amounts|phrase|rows_view|after_view|confirm_view|files_view|saving_view|technical_view|verdict_view|spoken_code|parcel_(ui|files|order|ready|choice))\.js$/;
const TECHNICAL = ["the trust file in this page", "the sheet in this page", "report this to the shop", "no part for ", "calseal (page)"];

function sentencesIn(source) {
  const code = source.replace(/^\s*\/\/.*$/gm, "").replace(/ {2}\/\/ .*$/gm, "").replace(/^import .*$/gm, "");
  const texts = [...code.matchAll(/"((?:[^"\\\n]|\\.)*)"|`((?:[^`\\]|\\.)*)`/g)].map(([, plain, template]) => plain ?? template.replace(/\$\{[^}]*\}/g, "\u0000"));
  // Not the names of classes, and not what finds elements.
  return texts.filter((text) => /[A-Za-z]{2,}[,:;]? [A-Za-z]{2,}/.test(text) && !/^[#.]|^[a-z-]+( [a-z\u0000-]+)*$/.test(text));
}

test("no sentence is left in the code of what is shown", () => {
  const looked = sources.filter(([name]) => SHOWN.test(name));
  assert.ok(looked.length >= 15);
  const left = looked.flatMap(([name, source]) => sentencesIn(source).map((text) => `${name}: ${text}`));
  assert.deepEqual(left.filter((text) => !TECHNICAL.some((known) => text.includes(known))), []);
  assert.deepEqual(sentencesIn('element("p", {}, "Save the file");\n// "A comment here"\nelement("p", { class: "pcl-says pcl-bad" })'), ["Save the file"]);
});

test("page.html has its words from the tables, but for what is said where no script runs", () => {
  const html = fs.readFileSync(path.join(FOLDER, "page.html"), "utf8");
  const keys = [...html.matchAll(/data-text="(\w+)"/g)].map(([, key]) => key);
  assert.deepEqual(keys.filter((key) => !Object.hasOwn(WORDS.page, key)), []);
  const elsewhere = ["documentTitle", "rootWarning"];
  assert.deepEqual(Object.keys(WORDS.page).filter((key) => !keys.includes(key) && !elsewhere.includes(key)), [], "words that nobody shows");
  const halt = /<div id="halt"[^]*?<\/div>/.exec(html)[0];
  assert.deepEqual([...halt.matchAll(/<p lang="(\w+)">/g)].map(([, code]) => code), Object.keys(LANGUAGES));
  const rest = html.replace(halt, "").replace(/\{\{\w+\}\}/g, "").replace(/<[^>]*>/g, "");
  assert.doesNotMatch(rest, /[A-Za-z]{2,}/);
});

test("every caution that the sources raise has its words", () => {
  const raised = new Set();
  for (const [, source] of sources.filter(([name]) => !/^(parcel|language)/.test(name) && !isWords(name))) {
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
