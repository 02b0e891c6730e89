// Reading the identity fields and the recognition rule of a region map out of an image.

import { hexExcerpt, latin1, printable, sameBytes, toHex } from "./bytes.js";
import { Refusal } from "./reason.js";
import { looksOpaque } from "./entropy.js";
import { knowsPlace, viewAt } from "./image.js";
import { decodeWord } from "./value.js";
import { placeText } from "./place.js";

const isPrintableText = (text) => /^[\x20-\x7e]*$/.test(text);

// Text of the field, or nothing when the bytes are not of its encoding.
function decodeField({ encoding }, bytes) {
  switch (encoding) {
    case "ascii": {
      const text = latin1(bytes).replace(/[\0 \xff]+$/, "");
      return isPrintableText(text) ? text : undefined;
    }
    case "bcd":
      return /^[0-9]*$/.test(toHex(bytes)) ? toHex(bytes) : undefined;
    case "integer-little":
      return String(decodeWord(bytes, "little"));
    case "integer-big":
      return String(decodeWord(bytes, "big"));
    default:
      return toHex(bytes);
  }
}

// Whether `text` fits the pattern; the language is on the region map's page.
export function matchesPattern(text, pattern) {
  let at = 0;
  for (let p = 0; p < pattern.length; ++p) {
    if (pattern[p] === "*" && p + 1 === pattern.length) return isPrintableText(text.slice(at));
    if (at === text.length) return false;
    const c = text[at++];
    const fits = { "#": /[0-9]/, "@": /[A-Z]/, "?": /[0-9A-Z]/, ".": /[\x20-\x7e]/ }[pattern[p]];
    if (fits !== undefined) {
      if (!fits.test(c)) return false;
    } else {
      if (pattern[p] === "\\") ++p;
      if (c !== pattern[p]) return false;
    }
  }
  return at === text.length;
}

// Check character of a 17-character VIN after 49 CFR 565.15(c): "0" to "9" or "X"; "" for other lengths or characters that a VIN
// cannot have (I, O, Q).
export function vinCheckCharacter(vin) {
  const weights = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2];  // table IV; position 9 is the check character itself
  const letters = "ABCDEFGHJKLMNPRSTUVWXYZ";
  const values = "12345678123457923456789";  // table III
  if (vin.length !== weights.length || !/^[0-9A-HJ-NPR-Z]*$/.test(vin)) return "";
  const sum = weights.reduce((total, weight, i) => {
    const letter = letters.indexOf(vin[i]);
    return total + weight * Number(letter === -1 ? vin[i] : values[letter]);
  }, 0);
  return sum % 11 === 10 ? "X" : String(sum % 11);
}

export function isBlankField(bytes) {
  return bytes.every((byte) => byte === 0x00) || bytes.every((byte) => byte === 0xff);
}

// Every field as {field, text, known, blank, wellFormed}; `text` "" when unknown.
export function readIdentity(map, image) {
  return map.identity.map((field) => {
    if (!knowsPlace(image, field)) return { field, text: "", known: false, blank: false, wellFormed: false };
    const bytes = viewAt(image, field);
    const text = decodeField(field, bytes);
    return { field, known: true, blank: isBlankField(bytes), text: text === undefined ? toHex(bytes) : printable(text, 1024),
      wellFormed: text !== undefined && (field.pattern === "" || matchesPattern(text, field.pattern)) };
  });
}

function familyMismatch(place, found, expected) {
  return new Refusal("family-mismatch", { place, found, expected, next: "use the region map of this controller's software family" });
}

// The recognition rule: of a partial image that part of it decides which is known; where none is, nothing is recognised.
function recogniseRule(map, image, identity) {
  const { all, softwareNumbers } = map.recognition;
  let unknown;
  let isProved = false;
  for (const match of all) {
    const place = placeText(map, match);
    if (!knowsPlace(image, match)) {
      unknown ??= familyMismatch(place, "unknown bytes", hexExcerpt(match.bytes));
      continue;
    }
    isProved = true;
    const bytes = viewAt(image, match);
    if (bytes.every((byte, i) => ((byte ^ match.bytes[i]) & match.mask[i]) === 0)) continue;
    const memory = image.memories[match.memory];
    if (!looksOpaque(memory.bytes)) throw familyMismatch(place, hexExcerpt(bytes), hexExcerpt(match.bytes));
    throw new Refusal("form-opaque", { place: memory.name, found: "bytes nearly all of which look random",
      expected: `${hexExcerpt(match.bytes)} at ${place}`,
      next: "save the read without encryption and compression, or have whoever encrypted it undo that" });
  }
  for (const { field, text, known } of identity) {
    if (field.kind !== "software-number" || softwareNumbers.length === 0) continue;
    const expected = `one of ${softwareNumbers.map((number) => printable(number, 40)).join(" ")}`;
    if (!known) {
      unknown ??= familyMismatch(placeText(map, field), "unknown bytes", expected);
      continue;
    }
    isProved = true;
    if (!softwareNumbers.includes(text)) throw familyMismatch(placeText(map, field), `software number ${text}`, expected);
  }
  if (unknown !== undefined && !isProved) throw unknown;
}

// Throws unless the recognition rule matches, every active bank is the expected one, and known fields are well formed.
export function recogniseFamily(map, image) {
  const identity = readIdentity(map, image);
  recogniseRule(map, image, identity);
  for (const { name, activeBank } of map.copies) {
    if (activeBank === undefined) continue;
    const known = knowsPlace(image, activeBank);
    const bytes = viewAt(image, activeBank);
    if (known && sameBytes(bytes, activeBank.equals)) continue;
    throw new Refusal("bank-not-active", { place: `${name}, ${placeText(map, activeBank)}`,
      found: known ? hexExcerpt(bytes) : "unknown bytes", expected: hexExcerpt(activeBank.equals),
      next: "the controller runs from its other bank: use or write a region map that edits that one" });
  }
  for (const { field, text, known, blank, wellFormed } of identity) {
    if (!known || blank || wellFormed) continue;
    throw new Refusal("identity-mismatch", { place: `${field.name}, ${placeText(map, field)}`, found: `"${text}"`,
      expected: field.pattern === "" ? "a field in its declared encoding" : `the pattern "${printable(field.pattern)}"`,
      next: "check that region map and read belong together, and that the read is sound" });
  }
}
