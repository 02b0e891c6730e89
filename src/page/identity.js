// Reading the identity fields and the recognition rule of a region map out of an image.

import { hexExcerpt, latin1, printable, sameBytes, toHex } from "./bytes.js";
import { Refusal } from "./reason.js";
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

function isBlankField(bytes) {
  return bytes.every((byte) => byte === 0x00) || bytes.every((byte) => byte === 0xff);
}

const PATTERN_CLASSES = { "#": "[0-9]", "@": "[A-Z]", "?": "[0-9A-Z]", ".": "[ -~]" };

// docs/region-map.md, "A pattern".
function matchesPattern(text, pattern) {
  const pieces = pattern.match(/\\.|\*$|./g).map((piece) =>
    (piece === "*" ? "[ -~]*" : PATTERN_CLASSES[piece] ?? piece.at(-1).replace(/[^A-Za-z0-9]/g, "\\$&")));
  return new RegExp(`^${pieces.join("")}$`).test(text);
}

// Every field as {field, text, known, blank, wellFormed}; `text` "" when unknown. `wellFormed`: it has the form that the region map
// declares.
export function readIdentity(map, image) {
  return map.identity.map((field) => {
    if (!knowsPlace(image, field)) return { field, text: "", known: false, blank: false, wellFormed: false };
    const bytes = viewAt(image, field);
    const text = decodeField(field, bytes);
    const wellFormed = text !== undefined && (field.pattern === "" || matchesPattern(text, field.pattern));
    return { field, known: true, blank: isBlankField(bytes), text: text ?? toHex(bytes), wellFormed };
  });
}

function familyMismatch(place, found, expected) {
  return new Refusal("family-mismatch", { place, found, expected, next: "use the region map of this controller's software family" });
}

// The recognition rule: what the image does not know is passed over, but something must be known. Throws the first mismatch.
export function recogniseRule(map, image) {
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
    throw familyMismatch(place, hexExcerpt(bytes), hexExcerpt(match.bytes));
  }
  for (const { field, text, known } of softwareNumbers.length === 0 ? [] : readIdentity(map, image)) {
    if (field.kind !== "software-number") continue;
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

// The controller runs from the bank that each copy is declared for.
function requireActiveBanks(map, image) {
  for (const { name, activeBank } of map.copies) {
    if (activeBank === undefined) continue;
    const known = knowsPlace(image, activeBank);
    const bytes = viewAt(image, activeBank);
    if (known && sameBytes(bytes, activeBank.equals)) continue;
    throw new Refusal("bank-not-active", { place: `${name}, ${placeText(map, activeBank)}`,
      found: known ? hexExcerpt(bytes) : "unknown bytes", expected: hexExcerpt(activeBank.equals),
      next: "the controller runs from its other bank: use or write a region map that edits that one" });
  }
}

// Family and bank of a read, and of a result.
export function recogniseFamily(map, image) {
  recogniseRule(map, image);
  requireActiveBanks(map, image);
}
