// Digests as digits that one person reads aloud and another compares or types: docs/bundle-format.md, section "Spoken codes".
// The check digits are those of ISO/IEC 7064, system MOD 11,10.

import { printable } from "./bytes.js";

const GROUP_SIZE = 4;  // digits, the check digit included

// What a code is of. `digits` of the digest are hexadecimal.
export const SPOKEN = {
  key: { letter: "K", digits: 32, groups: 13, whose: "a root's or other key's" },
  revision: { letter: "M", digits: 32, groups: 13, whose: "a revision's" },
  receipt: { letter: "Q", digits: 12, groups: 5, whose: "a receipt's" },
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

function beginsWith(what) {
  return `${what.whose} code begins with ${what.letter}`;
}

// Words about a letter in front that is not the right one; "" for the right one.
function letterFault(typed, what) {
  const letter = typed.toUpperCase();
  if (letter === what.letter) return "";
  const other = Object.values(SPOKEN).find((one) => one.letter === letter);
  if (other === undefined) return `no code begins with the letter ${letter}; ${beginsWith(what)}`;
  return `this is ${other.whose} code (letter ${letter}), not ${what.whose} (letter ${what.letter})`;
}

function foreignFault(character, digits, what) {
  const point = character.codePointAt(0);
  const shown = point < 0x80 ? `"${printable(character)}"` : `U+${point.toString(16).toUpperCase().padStart(4, "0")}`;
  if (digits >= what.groups * GROUP_SIZE) return `the text goes on after the last group with ${shown}`;
  return `group ${Math.floor(digits / GROUP_SIZE) + 1} holds ${shown}, which is no digit`;
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
      digits.fault = `there is no letter in front; ${beginsWith(what)}`;
    } else {
      if (digits.text.length < what.groups * GROUP_SIZE) digits.text += character;
      ++digits.count;
      ++run.size;
    }
    if (digits.fault !== "") return digits;
  }
  endRun(true);
  if (!letter) digits.fault = `there is no letter in front; ${beginsWith(what)}`;
  return digits;
}

function groupList(groups) {
  if (groups.length === 1) return `group ${groups[0]}`;
  return `groups ${groups.slice(0, -1).join(", ")} and ${groups.at(-1)}`;
}

// Words about the whole groups that do not fit their check digits; "" where all do.
function misheard(digits) {
  const wrong = [];
  groupsOf(digits).forEach((group, i) => {
    if (checkDigitOf(i + 1, group.slice(0, 3)) !== Number(group[3])) wrong.push(i + 1);
  });
  if (wrong.length === 0) return "";
  return groupList(wrong) + (wrong.length === 1 ? " does not fit its check digit" : " do not fit their check digits");
}

function tornFault({ start, size }) {
  return `group ${Math.floor(start / GROUP_SIZE) + 1} has ${size} digits, not 4`;
}

function countFault(count, { groups }) {
  return `${count} digits, not ${groups * GROUP_SIZE} (${groups} groups of 4)`;
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
  if (groups.length > 4) return `${groups.length} of ${theirs.length - 1} groups differ`;
  return groupList(groups) + (groups.length === 1 ? " differs" : " differ");
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
  if (fault !== "") return { state: "wrong", words: `${fault}: have it read to you again` };
  const groups = groupsOf(digits.text);
  const difference = spokenDifference([what.letter, ...groups].join(" "), expected);
  if (difference !== "") return { state: "other", words: `${difference} from the code above` };
  if (groups.length === what.groups) return { state: "same", words: `all ${groups.length} groups are those above` };
  return { state: "open", words: `${groups.length} of ${what.groups} groups are as above so far` };
}

// The text without the separators at both ends.
export function withoutSeparatorsAround(text) {
  const characters = [...text];
  const begin = characters.findIndex((character) => !isSeparator(character));
  const end = characters.findLastIndex((character) => !isSeparator(character));
  return characters.slice(begin, end + 1).join("");
}
