// Strict JSON: RFC 8259 narrowed to what our files use. The platform's own parser would let repeated keys, fractions
// and any depth pass, so the text is read here, once, and the first fault ends it.

import { decodeUtf8, fromHex, printable, utf8 } from "./bytes.js";
import { Refusal } from "./reason.js";

const DEPTH_LIMIT = 32;
export const INTEGER_LIMIT = Number.MAX_SAFE_INTEGER; // 2^53 - 1

const SPACE = /[ \t\n\r]*/y;
const NUMBER = /-?(?:0|[1-9][0-9]*)(?:\.[0-9]+)?(?:[eE][+-]?[0-9]+)?/y;
const PLAIN_TEXT = /[^"\\\u0000-\u001f]*/y;
const ESCAPES = { '"': '"', "\\": "\\", "/": "/", b: "\b", f: "\f", n: "\n", r: "\r", t: "\t" };

class JsonParser {
  constructor(text, file) {
    this.text = text;
    this.file = file;
    this.at = 0;
  }

  fail(code, found, expected, next = "correct the text at this place") {
    throw new Refusal(code, { file: this.file, place: placeInText(this.text, this.at), found, expected, next });
  }

  syntax() {
    const rest = this.text.slice(this.at, this.at + 20);
    this.fail("json-syntax", rest === "" ? "the text ends here" : `"${printable(rest)}"`, "JSON (RFC 8259) in UTF-8");
  }

  // The longest text at this place that fits a pattern.
  take(pattern) {
    pattern.lastIndex = this.at;
    const found = pattern.exec(this.text);
    if (found === null) return null;
    this.at = pattern.lastIndex;
    return found[0];
  }

  skipped() {
    this.take(SPACE);
    return this.text[this.at];
  }

  expect(mark) {
    if (this.skipped() !== mark) this.syntax();
    this.at += 1;
  }

  document() {
    const value = this.value(1);
    if (this.skipped() !== undefined) this.syntax();
    return value;
  }

  value(depth) {
    const mark = this.skipped();
    const at = this.at;
    if (mark === "{" || mark === "[") {
      if (depth > DEPTH_LIMIT) this.fail("json-depth", `level ${depth}`, `at most ${DEPTH_LIMIT} levels`);
      this.at += 1;
      return mark === "{" ? this.object(at, depth) : this.array(at, depth);
    }
    if (mark === '"') return { kind: "string", value: this.string(), at };
    for (const [word, value] of [["true", true], ["false", false]]) {
      if (!this.text.startsWith(word, at)) continue;
      this.at += word.length;
      return { kind: "boolean", value, at };
    }
    if (this.text.startsWith("null", at)) this.fail("json-type", "null", "a value");
    return { kind: "number", value: this.number(), at };
  }

  object(at, depth) {
    const members = new Map();
    if (this.skipped() === "}") {
      this.at += 1;
      return { kind: "object", value: members, at };
    }
    for (;;) {
      if (this.skipped() !== '"') this.syntax();
      const key = this.string();
      if (members.has(key)) this.fail("json-repeated-key", `"${printable(key, 60)}" again`, "each key once");
      this.expect(":");
      members.set(key, this.value(depth + 1));
      if (this.skipped() === "}") break;
      this.expect(",");
    }
    this.at += 1;
    return { kind: "object", value: members, at };
  }

  array(at, depth) {
    const items = [];
    if (this.skipped() === "]") {
      this.at += 1;
      return { kind: "array", value: items, at };
    }
    for (;;) {
      items.push(this.value(depth + 1));
      if (this.skipped() === "]") break;
      this.expect(",");
    }
    this.at += 1;
    return { kind: "array", value: items, at };
  }

  number() {
    const literal = this.take(NUMBER);
    // Nothing, or a fraction or exponent that breaks off.
    if (literal === null || /[.eE]/.test(this.text[this.at] ?? "")) this.syntax();
    if (!/^[0-9]{1,16}$/.test(literal) || Number(literal) > INTEGER_LIMIT) {
      this.fail("json-number", printable(literal, 40), `a whole number from 0 to ${INTEGER_LIMIT}`);
    }
    return Number(literal);
  }

  string() {
    this.at += 1;
    let text = this.take(PLAIN_TEXT);
    while (this.text[this.at] === "\\") {
      this.at += 1;
      text += this.escape() + this.take(PLAIN_TEXT);
    }
    if (this.text[this.at] !== '"') this.syntax();
    this.at += 1;
    return text;
  }

  escape() {
    const mark = this.text[this.at];
    if (mark === "u") return this.unicodeEscape();
    if (mark === undefined || !Object.hasOwn(ESCAPES, mark)) this.syntax();
    this.at += 1;
    return ESCAPES[mark];
  }

  // Surrogates only as a pair: half of one is no character.
  unicodeEscape() {
    const pattern = /u(?:[dD][89abAB][0-9a-fA-F]{2}\\u[dD][c-fC-F][0-9a-fA-F]{2}|(?![dD][89a-fA-F])[0-9a-fA-F]{4})/y;
    const digits = this.take(pattern);
    if (digits === null) this.syntax();
    return String.fromCharCode(...digits.slice(1).split("\\u").map((four) => parseInt(four, 16)));
  }
}

function placeInText(text, at) {
  const before = text.slice(0, at).split("\n");
  return `line ${before.length}, column ${before.at(-1).length + 1}`;
}

export function parseJson(bytes, file) {
  const text = decodeUtf8(bytes);
  if (text === null) {
    throw new Refusal("json-syntax", {
      file, found: "bytes that are not UTF-8", expected: "JSON (RFC 8259) in UTF-8", next: "save the file as UTF-8",
    });
  }
  return new JsonNode({ text, file }, new JsonParser(text, file).document(), "");
}

function lengthInBytes(text) {
  return utf8(text).length;
}

// One value at one place; reading it as something that it is not is refused.
export class JsonNode {
  constructor(document, value, pointer) {
    this.document = document;
    this.kind = value.kind;
    this.value = value.value;
    this.at = value.at;
    this.pointer = pointer;
  }

  refuse(code, found, expected) {
    const { text, file } = this.document;
    const place = `${this.pointer || "the whole document"} (${placeInText(text, this.at)})`;
    throw new Refusal(code, { file, place, found, expected, next: "correct the file at this place" });
  }

  found() {
    if (this.kind === "string") return `"${printable(this.value, 60)}"`;
    return this.kind === "number" || this.kind === "boolean" ? String(this.value) : `an ${this.kind}`;
  }

  expectKind(kind, expected) {
    if (this.kind !== kind) this.refuse("json-type", this.found(), expected);
  }

  // Any text of at most `limit` bytes of UTF-8.
  text(limit = 1024) {
    this.expectKind("string", "a string");
    const length = lengthInBytes(this.value);
    if (length > limit) this.refuse("json-value", `${length} bytes`, `at most ${limit} bytes`);
    return this.value;
  }

  integer(least, most) {
    this.expectKind("number", "a whole number");
    if (this.value < least || this.value > most) this.refuse("json-value", this.found(), `from ${least} to ${most}`);
    return this.value;
  }

  // A whole number, or "0x" with 1 to 16 lower-case digits; of BigInt, for values of 64 bits.
  number(least, most) {
    const expected = 'a whole number, or "0x" with 1 to 16 lower-case digits';
    if (this.kind !== "number") {
      this.expectKind("string", expected);
      if (!/^0x[0-9a-f]{1,16}$/.test(this.value)) this.refuse("json-value", this.found(), expected);
    }
    const value = BigInt(this.value);
    if (value < least || value > most) this.refuse("json-value", this.found(), `from ${least} to ${most}`);
    return value;
  }

  address() {
    this.expectKind("string", 'an address as "0x%08x"');
    if (!/^0x[0-9a-f]{8}$/.test(this.value)) {
      this.refuse("json-value", this.found(), 'an address as "0x" and eight lower-case digits');
    }
    return Number(this.value);
  }

  boolean() {
    this.expectKind("boolean", "true or false");
    return this.value;
  }

  // Lower-case hexadecimal digits of `least` to `most` bytes, as bytes.
  hex(least, most) {
    const expected = `lower-case hexadecimal of ${least === most ? least : `${least} to ${most}`} bytes`;
    this.expectKind("string", expected);
    const bytes = fromHex(this.value);
    if (bytes === null || bytes.length < least || bytes.length > most) {
      this.refuse("json-value", this.found(), expected);
    }
    return bytes;
  }

  choice(choices) {
    const expected = `one of ${choices.map((choice) => `"${choice}"`).join(" ")}`;
    this.expectKind("string", expected);
    if (!choices.includes(this.value)) this.refuse("json-value", this.found(), expected);
    return this.value;
  }

  items(limit) {
    this.expectKind("array", "an array");
    if (this.value.length > limit) {
      this.refuse("json-value", `${this.value.length} elements`, `at most ${limit}`);
    }
    return this.value.map((item, i) => new JsonNode(this.document, item, `${this.pointer}/${i}`));
  }
}

// The members of one object; done() refuses keys that nobody asked for.
export class JsonObject {
  constructor(node) {
    node.expectKind("object", "an object");
    this.node = node;
    this.asked = new Set();
  }

  has(key) {
    return this.node.value.has(key);
  }

  member(key) {
    const name = printable(key.replaceAll("~", "~0").replaceAll("/", "~1"), 60); // RFC 6901
    return new JsonNode(this.node.document, this.node.value.get(key), `${this.node.pointer}/${name}`);
  }

  optional(key) {
    this.asked.add(key);
    return this.has(key) ? this.member(key) : undefined;
  }

  required(key) {
    return this.optional(key) ?? this.node.refuse("json-missing-key", `no "${key}"`, `the key "${key}"`);
  }

  done() {
    for (const key of this.node.value.keys()) {
      if (this.asked.has(key)) continue;
      this.member(key).refuse("json-unknown-key", `"${printable(key, 60)}"`, "only keys that this kind of file has");
    }
  }
}
