// Digests as digits that one person reads aloud and another compares or types: docs/bundle-format.md, section "Spoken codes".
// The check digits are those of ISO/IEC 7064, system MOD 11,10.

import { printable } from "./bytes.js";
import { filled } from "./phrase.js";
import { WORDS } from "./words.js";

const GROUP_SIZE = 4;  // digits, the check digit included

// What a code is of. `digits` of the digest are hexadecimal.
export const SPOKEN = {
  key: { name: "key", letter: "K", digits: 32, groups: 13 },
  revision: { name: "revision", letter: "M", digits: 32, groups: 13 },
  receipt: { name: "receipt", letter: "Q", digits: 12, groups: 5 },
};

// White_Space and Dash of Unicode 16.0 (PropList.txt), the soft hyphen, dots and commas.
const SEPARATORS = [
  [0x09, 0x0d], [0x20, 0x20], [0x2c, 0x2e], [0x85, 0x85], [0xa0, 0xa0], [0xad, 0xad], [0xb7, 0xb7], [0x58a, 0x58a], [0x5be, 0x5be],
  [0x1400, 0x1400], [0x1680, 0x1680], [0x1806, 0x1806], [0x2000, 0x200a], [0x2010, 0x2015], [0x2028, 0x2029], [0x202f, 0x202f],
  [0x2053, 0x2053], [0x205f, 0x205f], [0x207b, 0x207b], [0x208b, 0x208b], [0x2212, 0x2212], [0x2e17, 0x2e17], [0x2e1a, 0x2e1a],
  [0x2e3a, 0x2e3b], [0x2e40, 0x2e40], [0x2e5d, 0x2e5d], [0x3000, 0x3002], [0x301c, 0x301c], [0x3030, 0x3030], [0x30a0, 0x30a0],
  [0xfe31, 0xfe32], [0xfe58, 0xfe58], [0xfe63, 0xfe63], [0xff0c, 0xff0e], [0x10d6e, 0x10d6e], [0x10ead, 0x10ead],
];

export function isSeparator(character) {
  const point = character.codePointAt(0);
  return SEPARATORS.some(([first, last]) => point >= first && point <= last);
}

// For a text of decimal digits.
export function mod1110CheckDigit(digits) {
  let product = 10;
  for (const digit of digits) {
    const sum = (product + Number(digit)) % 10;
    product = ((sum === 0 ? 10 : sum) * 2) % 11;
  }
  return (11 - product) % 10;
}

// A group's check digit also covers its place, so that groups that changed places are noticed.
function checkDigitOf(group, data) {
  return mod1110CheckDigit(`${group % 10}${data}`);
}

function groupsOf(digits) {
  return digits.match(/.{4}/g) ?? [];
}

// "K 1234 5678 …" of the first bytes of a digest.
export function spokenCode(what, digest) {
  const digits = BigInt(`0x${digest.slice(0, what.digits)}`).toString().padStart(3 * what.groups, "0");
  const groups = digits.match(/.{3}/g).map((data, i) => data + checkDigitOf(i + 1, data));
  return [what.letter, ...groups].join(" ");
}

function said(key, parts) {
  return filled(WORDS.codes[key], parts);
}

// Whose code it is, in the place of a sentence that the language has for it.
function whose(what) {
  return WORDS.codes.whose[what.name];
}

function beginsWith(what) {
  return said("beginsWith", { whose: whose(what), letter: what.letter });
}

// Words about a letter in front that is not the right one; "" for the right one.
function letterFault(typed, what) {
  const letter = typed.toUpperCase();
  if (letter === what.letter) return "";
  const other = Object.values(SPOKEN).find((one) => one.letter === letter);
  if (other === undefined) return said("noSuchLetter", { letter, begins: beginsWith(what) });
  return said("otherLetter", { other: whose(other), letter, own: whose(what), wanted: what.letter });
}

function foreignFault(character, digits, what) {
  const point = character.codePointAt(0);
  const shown = point < 0x80 ? `"${printable(character)}"` : `U+${point.toString(16).toUpperCase().padStart(4, "0")}`;
  if (digits >= what.groups * GROUP_SIZE) return said("goesOn", { shown });
  return said("noDigit", { group: Math.floor(digits / GROUP_SIZE) + 1, shown });
}

// Splits a text into its letter and its digits: {text, count, torn, fault}. `text` holds no more digits than a code has, `count` is of all;
// `torn` is the first group with a digit too few or too many between its separators, {start, size, open}, or null; `open` where the text ends
// with it. Groups may be typed in pairs, so other sizes say nothing.
function takeApart(text, what) {
  const digits = { text: "", count: 0, torn: null, fault: "" };
  let letter = false;
  let run = { start: 0, size: 0 };
  const endRun = (open) => {
    const inside = run.start < what.groups * GROUP_SIZE;
    if (digits.torn === null && inside && [GROUP_SIZE - 1, GROUP_SIZE + 1].includes(run.size)) digits.torn = { ...run, open };
    run = { start: digits.count, size: 0 };
  };
  for (const character of text) {
    if (isSeparator(character)) {
      endRun(false);
    } else if (/^[A-Za-z]$/.test(character) && !letter && digits.count === 0) {
      letter = true;
      digits.fault = letterFault(character, what);
    } else if (!/^[0-9]$/.test(character)) {
      digits.fault = foreignFault(character, digits.count, what);
    } else if (!letter) {
      digits.fault = said("noLetter", { begins: beginsWith(what) });
    } else {
      if (digits.text.length < what.groups * GROUP_SIZE) digits.text += character;
      ++digits.count;
      ++run.size;
    }
    if (digits.fault !== "") return digits;
  }
  endRun(true);
  if (!letter) digits.fault = said("noLetter", { begins: beginsWith(what) });
  return digits;
}

function groupList(groups) {
  return groups.length === 1 ? said("group", { group: groups[0] }) : said("groups", { groups: groups.slice(0, -1).join(", "), last: groups.at(-1) });
}

// Words about the whole groups that do not fit their check digits; "" where all do.
function misheard(digits) {
  const wrong = [];
  groupsOf(digits).forEach((group, i) => {
    if (checkDigitOf(i + 1, group.slice(0, 3)) !== Number(group[3])) wrong.push(i + 1);
  });
  if (wrong.length === 0) return "";
  return said(wrong.length === 1 ? "misfit" : "misfits", { groups: groupList(wrong) });
}

function tornFault({ start, size }) {
  return said("torn", { group: Math.floor(start / GROUP_SIZE) + 1, size, wanted: GROUP_SIZE });
}

function countFault(count, { groups }) {
  return said("count", { count, wanted: groups * GROUP_SIZE, groups, size: GROUP_SIZE });
}

function faultOf(digits, what) {
  if (digits.fault !== "") return digits.fault;
  const whole = digits.count === what.groups * GROUP_SIZE;
  if (!whole && digits.torn !== null) return tornFault(digits.torn);
  const fault = misheard(digits.text);
  if (fault !== "" || whole) return fault;
  return countFault(digits.count, what);
}

// What a person typed, as {code, fault}; one of the two is "". `code` is as spokenCode() writes it.
export function readSpokenCode(text, what) {
  const digits = takeApart(text, what);
  const fault = faultOf(digits, what);
  return fault === "" ? { code: [what.letter, ...groupsOf(digits.text)].join(" "), fault } : { code: "", fault };
}

// Words that name the groups in which two codes of one kind differ; "" where they are the same. The first may be the beginning of a code.
export function spokenDifference(code, other) {
  const theirs = other.split(" ");
  const groups = code.split(" ").flatMap((group, i) => (group === theirs[i] ? [] : [i]));
  if (groups.length === 0) return "";
  if (groups.length > 4) return said("manyDiffer", { count: groups.length, all: theirs.length - 1 });
  return said(groups.length === 1 ? "differs" : "differ", { groups: groupList(groups) });
}

// What can be said while a code is still being typed, beside the one that is expected: {state, words}. `state` is "empty", "open" while
// groups are missing, "same", "other", or "wrong" where something was misheard.
export function listenAlong(text, what, expected) {
  const digits = takeApart(text, what);
  const begun = [...text].some((character) => !isSeparator(character));
  if (!begun) return { state: "empty", words: "" };
  const torn = digits.torn === null || digits.torn.open ? "" : tornFault(digits.torn);
  const all = what.groups * GROUP_SIZE;
  const tooLong = digits.count > all ? countFault(digits.count, what) : "";
  const fault = digits.fault || (digits.count === all ? "" : torn) || misheard(digits.text) || tooLong;
  if (fault !== "") return { state: "wrong", words: said("again", { fault }) };
  const groups = groupsOf(digits.text);
  const difference = spokenDifference([what.letter, ...groups].join(" "), expected);
  if (difference !== "") return { state: "other", words: said("fromAbove", { difference }) };
  if (groups.length === what.groups) return { state: "same", words: said("same", { count: groups.length }) };
  return { state: "open", words: said("soFar", { count: groups.length, all: what.groups }) };
}

// The text without the separators at both ends.
export function withoutSeparatorsAround(text) {
  const characters = [...text];
  const begin = characters.findIndex((character) => !isSeparator(character));
  const end = characters.findLastIndex((character) => !isSeparator(character));
  return characters.slice(begin, end + 1).join("");
}
