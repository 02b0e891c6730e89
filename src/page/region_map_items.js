// Calibration items of a region map. The page shows none of them; they are read because a map with a fault is no map.

import { printable } from "./bytes.js";
import { JsonObject } from "./json.js";
import { ADDRESS_LIMIT } from "./schema.js";
import { LIST_LIMIT, NameList, readMapLine, readMemory, readNote, readNumber, readOrder, readRange } from "./region_map_draft.js";
import { comparePlaces, shifted } from "./place.js";
import { utf8 } from "./bytes.js";

const ELEMENT_LIMIT = 65536;    // of one item
const ELEMENT_TOTAL = 2 ** 20;  // of all items, after repetition
const UNIT_LIMIT = 64;          // bytes
const DECIMAL_DIGITS = 18;      // significant digits, and digits behind the point
const WIDE = 1n << 127n;        // whole numbers of a conversion stay below it

const ELEMENT_TYPES = {
  u8: { size: 1, extremes: [0n, 0xffn] }, s8: { size: 1, extremes: [-0x80n, 0x7fn] },
  u16: { size: 2, extremes: [0n, 0xffffn] }, s16: { size: 2, extremes: [-0x8000n, 0x7fffn] },
  u32: { size: 4, extremes: [0n, 0xffffffffn] }, s32: { size: 4, extremes: [-0x80000000n, 0x7fffffffn] },
  f32: { size: 4, extremes: [] }, f64: { size: 8, extremes: [] },
};

const powerOfTen = (exponent) => 10n ** BigInt(exponent);

// {digits, places}, exactly digits / 10^places; nothing for any other text, or for more digits than allowed.
export function parseDecimal(text) {
  const match = /^(-?)(0|[1-9][0-9]*)(?:\.([0-9]+))?$/.exec(text);
  if (match === null) return undefined;
  const [, sign, whole, behind = ""] = match;
  const significant = (whole + behind).replace(/^0+/, "").length;
  if (behind.length > DECIMAL_DIGITS || significant > DECIMAL_DIGITS) return undefined;
  const digits = BigInt(whole + behind);
  if (sign !== "" && digits === 0n) return undefined;
  return { digits: sign === "" ? digits : -digits, places: behind.length };
}

function readDecimal(node) {
  const text = node.text();
  return parseDecimal(text) ?? node.refuse("json-value", `"${printable(text, 60)}"`,
    'a decimal number as text, like "-40" or "0.0625", of at most 18 digits');
}

const fitsWide = (value) => -WIDE <= value && value < WIDE;

// factor * stored + offset, over one power of ten, without growing too large.
function isConvertible({ factor, offset }, stored) {
  const places = Math.max(factor.places, offset.places);
  let sum = 0n;
  for (const [decimal, times] of [[factor, stored], [offset, 1n]]) {
    const product = decimal.digits * times;
    const scaled = product * powerOfTen(places - decimal.places);
    sum += scaled;
    if (![product, scaled, sum].every(fitsWide)) return false;
  }
  return true;
}

function judgeConversion(node, { conversion, type }) {
  if (conversion.coefficients !== undefined) {
    const [, b, c, , e, f] = conversion.coefficients;
    const left = b.digits * f.digits * powerOfTen(c.places + e.places);
    const right = c.digits * e.digits * powerOfTen(b.places + f.places);
    if (left === right) node.refuse("json-value", "a conversion that gives the same value for everything", "b * f different from c * e");
    return;
  }
  if (conversion.factor.digits === 0n) node.refuse("json-value", "factor 0", "a factor that tells values apart");
  if (!ELEMENT_TYPES[type].extremes.every((stored) => isConvertible(conversion, stored))) {
    node.refuse("json-value", "factor and offset with too many digits together",
      "numbers that stay below 2^127 at the same number of places");
  }
}

function readConversion(object) {
  const node = object.optional("rational");
  if (node !== undefined) {
    const numbers = node.items(6);
    if (numbers.length !== 6) node.refuse("json-value", `${numbers.length} coefficients`, "six: a b c d e f");
    const coefficients = numbers.map(readDecimal);
    if (coefficients[0].digits !== 0n || coefficients[3].digits !== 0n) {
      node.refuse("json-value", "a quadratic conversion", "a = 0 and d = 0, so that it has one inverse");
    }
    return { coefficients };
  }
  const decimal = (key, otherwise) => {
    const member = object.optional(key);
    return member === undefined ? otherwise : readDecimal(member);
  };
  return { factor: decimal("factor", { digits: 1n, places: 0 }), offset: decimal("offset", { digits: 0n, places: 0 }) };
}

// The name of an axis, or "" after reading the count in its place.
function readAxis(object, axis, countKey, item, side) {
  if (object.has(axis)) return object.required(axis).text(256);
  item[side] = readNumber(object, countKey, 1, ELEMENT_LIMIT);
  return "";
}

function readItem(draft, names, node) {
  const object = new JsonObject(node);
  const item = { node, name: names.read(draft, object), columns: 1, rows: 1, x: "", y: "", count: 1, stride: 0 };
  const title = object.optional("title");
  if (title !== undefined) readMapLine(title);
  item.kind = object.required("kind").choice(["scalar", "axis", "curve", "table"]);
  item.memory = readMemory(draft, object);
  item.begin = object.required("start").address();
  item.type = object.required("type").choice(Object.keys(ELEMENT_TYPES));
  readOrder(object);
  if (item.kind === "axis") item.columns = readNumber(object, "points", 1, ELEMENT_LIMIT);
  if (item.kind === "curve") item.x = readAxis(object, "x", "points", item, "columns");
  if (item.kind === "table") {
    item.x = readAxis(object, "x", "columns", item, "columns");
    item.y = readAxis(object, "y", "rows", item, "rows");
  }
  item.conversion = readConversion(object);
  const unit = object.optional("unit");
  if (unit !== undefined && utf8(readMapLine(unit)).length > UNIT_LIMIT) {
    unit.refuse("json-value", "a long unit", "a unit of at most 64 bytes");
  }
  const least = object.optional("least");
  const lowest = least && readDecimal(least);
  const most = object.optional("most");
  const highest = most && readDecimal(most);
  item.repeats = object.has("count") || object.has("stride");
  if (item.repeats) {
    item.count = readNumber(object, "count", 1, LIST_LIMIT);
    item.stride = readNumber(object, "stride", 1, ADDRESS_LIMIT);
  }
  readNote(object);
  object.done();
  judgeConversion(node, item);
  if (lowest && highest && lowest.digits * powerOfTen(highest.places) > highest.digits * powerOfTen(lowest.places)) {
    node.refuse("json-value", "least above most", "least no larger than most");
  }
  return item;
}

// The axis item of that name; the i-th of a repetition takes the i-th of its axis' repetition, or the one axis.
function findAxis(draft, axes, item, name) {
  if (name === "") return undefined;
  const axis = axes.get(name);
  if (axis !== undefined && (!axis.repeats || (item.repeats && item.count <= axis.count))) return axis;
  draft.note("names", item.node, "map-name", `an axis called "${printable(name, 70)}"`,
    "an item of kind axis, repeated at least as often as what uses it", 'correct the name, or declare the axis under "items"');
  return undefined;
}

export function readItems(draft, top) {
  const list = top.optional("items");
  if (list === undefined) return;
  const names = new NameList();
  const all = list.items(LIST_LIMIT).map((node) => readItem(draft, names, node));
  const axes = new Map();
  for (const item of all) {
    if (item.kind === "axis" && !axes.has(item.name)) axes.set(item.name, item);
  }
  const { items } = draft.map;
  let elements = 0;
  for (const item of all) {
    item.columns = findAxis(draft, axes, item, item.x)?.columns ?? item.columns;
    item.rows = findAxis(draft, axes, item, item.y)?.columns ?? item.rows;
    const count = item.columns * item.rows;
    elements += count * item.count;
    if (count > ELEMENT_LIMIT || elements > ELEMENT_TOTAL || item.count > LIST_LIMIT - items.length) {
      item.node.refuse("json-value", "too many elements or items",
        "at most 65,536 elements of an item, 1,048,576 of all, and 4,096 items, after repetition");
    }
    const size = count * ELEMENT_TYPES[item.type].size;
    const range = readRange(draft, item.node, item.memory, item.begin, size, item.count, item.stride);
    for (let i = 0; i < item.count; ++i) {
      const one = { name: item.repeats ? `${item.name}[${i}]` : item.name, memory: item.memory, range: shifted(range, item.stride, i) };
      draft.nodes.set(one, item.node);
      items.push(one);
    }
  }
  items.sort(comparePlaces);
}
