// Bytes, and the texts in which people and files write them.

const HEX_PAIR = Array.from({ length: 256 }, (_, byte) => byte.toString(16).padStart(2, "0"));

export function toHex(bytes) {
  let text = "";
  for (const byte of bytes) text += HEX_PAIR[byte];
  return text;
}

// Lower-case pairs only; null for anything else.
export function fromHex(text) {
  if (text.length % 2 !== 0 || !/^[0-9a-f]*$/.test(text)) return null;
  return Uint8Array.from({ length: text.length / 2 }, (_, i) => parseInt(text.slice(2 * i, 2 * i + 2), 16));
}

export function isDigest(text) {
  return /^[0-9a-f]{64}$/.test(text);
}

export function readLittle(bytes, at, size) {
  let value = 0;
  for (let i = size - 1; i >= 0; --i) value = value * 256 + bytes[at + i];
  return value;
}

export function littleEndian(value, size) {
  const bytes = [];
  for (let i = 0; i < size; ++i, value = Math.floor(value / 256)) bytes.push(value % 256);
  return bytes;
}

export function sameBytes(a, b) {
  return a.length === b.length && a.every((byte, i) => byte === b[i]);
}

// Offset of the first byte in which two differ, the end of the shorter one included; -1 where none does.
export function firstDifference(a, b) {
  const shared = Math.min(a.length, b.length);
  for (let i = 0; i < shared; ++i) if (a[i] !== b[i]) return i;
  return a.length === b.length ? -1 : shared;
}

export function concatBytes(parts) {
  const whole = new Uint8Array(parts.reduce((size, part) => size + part.length, 0));
  let at = 0;
  for (const part of parts) {
    whole.set(part, at);
    at += part.length;
  }
  return whole;
}

const ENCODER = new TextEncoder();
// A mark at the beginning is a character like any other, not something to leave out.
const STRICT_DECODER = new TextDecoder("utf-8", { fatal: true, ignoreBOM: true });

export function utf8(text) {
  return ENCODER.encode(text);
}

// null unless the bytes are well-formed UTF-8 (Unicode, table 3-7).
export function decodeUtf8(bytes) {
  try {
    return STRICT_DECODER.decode(bytes);
  } catch {
    return null;
  }
}

// Bytes as characters of the same number, for comparing with ASCII literals and for quoting.
export function latin1(bytes) {
  let text = "";
  for (const byte of bytes) text += String.fromCharCode(byte);
  return text;
}

export function startsWith(bytes, literal) {
  return latin1(bytes.subarray(0, literal.length)) === literal;
}

export function addressText(address) {
  return "0x" + address.toString(16).padStart(8, "0");
}

export function rangeText(range) {
  const last = range.end - 1;
  return last <= range.begin ? addressText(range.begin) : `${addressText(range.begin)}-${addressText(last)}`;
}

export function grouped(number) {
  return String(number).replace(/\B(?=(\d{3})+$)/g, ",");
}

export function bytesText(count) {
  return grouped(count) + (count === 1 ? " byte" : " bytes");
}

// Control characters, and those that turn the direction of writing or cannot be seen.
const MISLEADING =
  /[\u0000-\u001f\u007f-\u009f\u00ad\u061c\u115f\u1160\u180e\u200b-\u200f\u2028-\u202e\u2060-\u206f\u3164\ufeff\uffa0\ufff9-\ufffb\u{e0000}-\u{e007f}]/gu;

// A character by its number.
export function escapedPoint(character) {
  const digits = character.codePointAt(0).toString(16);
  return digits.length <= 4 ? "\\u" + digits.padStart(4, "0") : "\\u{" + digits + "}";
}

// Foreign text that is safe to show, not longer than `limit` characters.
export function printable(text, limit = 200) {
  const shown = text.slice(0, limit + 1).replace(MISLEADING, escapedPoint);
  return shown.length > limit ? shown.slice(0, limit) + "..." : shown;
}

export function hexExcerpt(bytes) {
  return Array.from(bytes.subarray(0, 8), (byte) => HEX_PAIR[byte]).join(" ");
}
