// Spoken codes: the vectors that both sides read, and what is said while a person still types.
import assert from "node:assert/strict";
import { test } from "node:test";

import { isSeparator, listenAlong, mod1110CheckDigit, readSpokenCode, SPOKEN, spokenCode, spokenDifference, withoutSeparatorsAround } from "../../src/page/spoken_code.js";
import { readVectors, seededRandom } from "./support.mjs";

const vectors = readVectors("spoken_code");
const CODE = vectors.codes[9].code;

test("check digits and codes are those of the vectors", () => {
  assert.ok(vectors.check_digits.length >= 6 && vectors.codes.length >= 18);
  for (const { digits, check } of vectors.check_digits) assert.equal(mod1110CheckDigit(digits), check, digits);
  for (const { kind, digest, code } of vectors.codes) assert.equal(spokenCode(SPOKEN[kind], digest), code);
});

test("what was typed is read as the vectors say", () => {
  assert.ok(vectors.readings.length >= 50);
  for (const { what, kind, text, code = "", fault = "" } of vectors.readings) {
    assert.deepEqual(readSpokenCode(text, SPOKEN[kind]), { code, fault }, what);
  }
});

test("separators are white space and dashes as this platform knows them, and a few dots and commas", () => {
  const added = [..."\u00ad,.\u00b7\u3001\u3002\uff0c\uff0e"];
  for (let point = 0; point <= 0x10ffff; ++point) {
    const character = String.fromCodePoint(point);
    const known = /[\p{White_Space}\p{Dash}]/u.test(character) || added.includes(character);
    // A hyphen that Unicode 16.0 brought; an older platform does not know it yet.
    if (point !== 0x10d6e) assert.equal(isSeparator(character), known, point.toString(16));
  }
  assert.ok(isSeparator("\u{10d6e}"));
});

test("every digest reads back, whatever separates its groups", () => {
  const random = seededRandom("spoken");
  for (let i = 0; i < 300; ++i) {
    const digest = Array.from({ length: 64 }, () => random.below(16).toString(16)).join("");
    const what = random.pick(Object.values(SPOKEN));
    const code = spokenCode(what, digest);
    const typed = code.replace(/ /g, () => random.pick([" ", "", "-", ", ", "\u2013", "\u00a0", "\r\n"]));
    assert.deepEqual(readSpokenCode(random.pick([typed, typed.toLowerCase()]), what), { code, fault: "" }, `CALSEAL_SEED=${random.seed}`);
  }
});

test("a long text is read in one go", () => {
  const text = "K" + "1 ".repeat(2 ** 20);
  assert.notEqual(readSpokenCode(text, SPOKEN.key).fault, "");
  assert.deepEqual(readSpokenCode(" ".repeat(2 ** 20) + CODE, SPOKEN.key), { code: CODE, fault: "" });
});

test("codes that differ are told apart by their groups", () => {
  assert.equal(spokenDifference(CODE, CODE), "");
  assert.equal(spokenDifference(CODE, CODE.replace(" 8590 ", " 8591 ")), "group 2 differs");
  assert.equal(spokenDifference(CODE, CODE.replace(" 8590 ", " 0 ").replace("K 2479", "K 0")), "groups 1 and 2 differ");
  assert.equal(spokenDifference(CODE, vectors.codes[0].code), "13 of 13 groups differ");
});

test("only what stands around a text is taken off", () => {
  for (const [text, expected] of [["", ""], [" -.\n", ""], ["a", "a"], ["\u00a0 a - b.\r\n", "a - b"], ["\ufeffa", "\ufeffa"]]) {
    assert.equal(withoutSeparatorsAround(text), expected);
  }
});

test("a misheard group is named as soon as it is whole", () => {
  const say = (text) => listenAlong(text, SPOKEN.key, CODE);
  assert.deepEqual(say(""), { state: "empty", words: "" });
  assert.deepEqual(say(" \u2013 "), { state: "empty", words: "" });
  assert.deepEqual(say("2"), { state: "wrong", words: "there is no letter in front; a root's or other key's code begins with K: have it read to you again" });
  assert.deepEqual(say("q"), { state: "wrong", words: "this is a receipt's code (letter Q), not a root's or other key's (letter K): have it read to you again" });
  assert.deepEqual(say("k"), { state: "open", words: "0 of 13 groups are as above so far" });
  assert.deepEqual(say("K 247"), { state: "open", words: "0 of 13 groups are as above so far" });
  assert.deepEqual(say("K 2479"), { state: "open", words: "1 of 13 groups are as above so far" });
  assert.deepEqual(say("K 2478"), { state: "wrong", words: "group 1 does not fit its check digit: have it read to you again" });
  assert.deepEqual(say("K 2479 8590 94"), { state: "open", words: "2 of 13 groups are as above so far" });
  assert.deepEqual(say("K 247 8590"), { state: "wrong", words: "group 1 has 3 digits, not 4: have it read to you again" });
  assert.deepEqual(say("K 2479 8590 9547"), { state: "wrong", words: "group 3 does not fit its check digit: have it read to you again" });
  assert.deepEqual(say(vectors.codes[0].code.slice(0, 6)), { state: "other", words: "group 1 differs from the code above" });
  assert.deepEqual(say(CODE), { state: "same", words: "all 13 groups are those above" });
  assert.deepEqual(say(`${CODE} 1`), { state: "wrong", words: "53 digits, not 52 (13 groups of 4): have it read to you again" });
});

test("nothing that was typed rightly is called wrong on the way", () => {
  for (const typed of [CODE, CODE.replaceAll(" ", ""), CODE.replaceAll(" ", " - "), CODE.replace(/(\d\d)(\d\d)/g, "$1 $2")]) {
    for (let length = 1; length <= typed.length; ++length) {
      const { state } = listenAlong(typed.slice(0, length), SPOKEN.key, CODE);
      assert.ok(state === "open" || state === "same", `${typed.slice(0, length)}: ${state}`);
    }
  }
});
