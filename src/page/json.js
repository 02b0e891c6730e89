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

// Puts values together as they come. A value is {kind, value, at}; of a list, `dropped` says how many items came that are not
// among its value.
class TreeBuilder {
  constructor() {
    this.root = undefined;
    this.open = []; // arrays and objects that have not ended
    this.nextKey = ""; // of the value that comes next
  }

  key(text) {
    this.nextKey = text;
  }

  place(value) {
    const parent = this.open.at(-1);
    if (parent === undefined) this.root = value;
    else if (parent.kind === "array") parent.value.push(value);
    else parent.value.set(this.nextKey, value);
    return value;
  }

  scalar(kind, value, at) {
    this.place({ kind, value, at });
  }

  begin(kind, at) {
    this.open.push(this.place({ kind, value: kind === "array" ? [] : new Map(), at }));
  }

  end() {
    this.open.pop();
  }
}

// The same for a tree that holds one item of a list at a time. `list` is {key, names, take}: the list at one key of the text's
// object; the keys of the object and of items that will be asked for; and who is given each item, as it is read, and its
// number. Of other arrays and objects the tree holds the kind alone, and of keys that are not among the names the first of each
// object. So it stays small whatever the text.
class ListBuilder {
  constructor(list) {
    this.list = list;
    this.builder = new TreeBuilder();
    this.skipped = 0; // arrays and objects open of which nothing is held
    this.isList = false; // the value that comes next
    this.isLeftOut = false; // the same
    this.hasOther = []; // by open object: a key that is not among the names
  }

  get root() {
    return this.builder.root;
  }

  get inList() {
    return this.builder.open.length === 2;
  }

  key(text) {
    if (this.skipped > 0) return;
    this.isList = this.builder.open.length === 1 && text === this.list.key;
    if (!this.list.names.includes(text)) {
      this.isLeftOut = this.hasOther.at(-1);
      this.hasOther[this.hasOther.length - 1] = true;
    }
    if (!this.isLeftOut) this.builder.key(text);
  }

  scalar(kind, value, at) {
    if (this.skipped > 0) return;
    if (!this.isLeftOut) this.builder.scalar(kind, value, at);
    this.isList = this.isLeftOut = false;
    this.endItem();
  }

  begin(kind, at) {
    if (this.skipped > 0) {
      this.skipped += 1;
      return;
    }
    const isTop = this.builder.open.length === 0 && kind === "object";
    const isList = this.isList && kind === "array";
    const isItem = this.inList && kind === "object";
    if (!isTop && !isList && !isItem) {
      if (!this.isLeftOut) {
        this.builder.begin(kind, at);
        this.builder.end();
      }
      this.isList = this.isLeftOut = false;
      this.skipped = 1;
      return;
    }
    this.builder.begin(kind, at);
    this.hasOther.push(false);
    this.isList = false;
    if (isList) this.builder.open.at(-1).dropped = 0;
  }

  end() {
    if (this.skipped > 0) {
      this.skipped -= 1;
      if (this.skipped === 0) this.endItem();
      return;
    }
    this.builder.end();
    this.hasOther.pop();
    this.endItem();
  }

  // Hands over the item of the list that has just ended, if one has.
  endItem() {
    if (!this.inList) return;
    const list = this.builder.open.at(-1);
    this.list.take(list.value.pop(), list.dropped);
    list.dropped += 1;
  }
}

class JsonParser {
  constructor(text, file, builder) {
    this.text = text;
    this.file = file;
    this.builder = builder;
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
    this.value(1);
    if (this.skipped() !== undefined) this.syntax();
    return this.builder.root;
  }

  value(depth) {
    const mark = this.skipped();
    const at = this.at;
    if (mark === "{" || mark === "[") {
      if (depth > DEPTH_LIMIT) this.fail("json-depth", `level ${depth}`, `at most ${DEPTH_LIMIT} levels`);
      this.at += 1;
      this.builder.begin(mark === "{" ? "object" : "array", at);
      if (mark === "{") this.object(depth);
      else this.array(depth);
      this.builder.end();
    } else if (mark === '"') {
      this.builder.scalar("string", this.string(), at);
    } else if (this.text.startsWith("true", at)) {
      this.at += 4;
      this.builder.scalar("boolean", true, at);
    } else if (this.text.startsWith("false", at)) {
      this.at += 5;
      this.builder.scalar("boolean", false, at);
    } else {
      if (this.text.startsWith("null", at)) this.fail("json-type", "null", "a value");
      this.builder.scalar("number", this.number(), at);
    }
  }

  object(depth) {
    const keys = new Set();
    if (this.skipped() === "}") {
      this.at += 1;
      return;
    }
    for (;;) {
      if (this.skipped() !== '"') this.syntax();
      const key = this.string();
      if (keys.has(key)) this.fail("json-repeated-key", `"${printable(key, 60)}" again`, "each key once");
      keys.add(key);
      this.expect(":");
      this.builder.key(key);
      this.value(depth + 1);
      if (this.skipped() === "}") break;
      this.expect(",");
    }
    this.at += 1;
  }

  array(depth) {
    if (this.skipped() === "]") {
      this.at += 1;
      return;
    }
    for (;;) {
      this.value(depth + 1);
      if (this.skipped() === "]") break;
      this.expect(",");
    }
    this.at += 1;
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
  let line = 1;
  let begin = 0;
  for (let end = text.indexOf("\n"); end !== -1 && end < at; end = text.indexOf("\n", begin)) {
    line += 1;
    begin = end + 1;
  }
  return `line ${line}, column ${at - begin + 1}`;
}

function decodeText(bytes, file) {
  const text = decodeUtf8(bytes);
  if (text !== null) return text;
  throw new Refusal("json-syntax", {
    file, found: "bytes that are not UTF-8", expected: "JSON (RFC 8259) in UTF-8", next: "save the file as UTF-8",
  });
}

export function parseJson(bytes, file) {
  const text = decodeText(bytes, file);
  return new JsonNode({ text, file }, new JsonParser(text, file, new TreeBuilder()).document(), "");
}

// The same, with the same faults, item by item: `list` as in ListBuilder, whose `take` is given each item as a node. The node
// that comes back holds none of them; its length still counts them.
export function parseJsonList(bytes, file, { key, names, take }) {
  const text = decodeText(bytes, file);
  const document = { text, file };
  const builder = new ListBuilder({ key, names, take: (value, i) => take(new JsonNode(document, value, `/${key}/${i}`)) });
  return new JsonNode(document, new JsonParser(text, file, builder).document(), "");
}

function lengthInBytes(text) {
  return utf8(text).length;
}

// One value at one place; reading it as something that it is not is refused.
class JsonNode {
  constructor(document, value, pointer) {
    this.document = document;
    this.kind = value.kind;
    this.value = value.value;
    this.at = value.at;
    this.dropped = value.dropped ?? 0; // items that came before those of `value`
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

  // Number of elements of an array of at most `limit`.
  length(limit) {
    this.expectKind("array", "an array");
    const length = this.dropped + this.value.length;
    if (length > limit) this.refuse("json-value", `${length} elements`, `at most ${limit}`);
    return length;
  }

  items(limit) {
    this.length(limit);
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
