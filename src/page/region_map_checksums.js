// Reading checksum declarations: algorithm, coverage, slots and rule, and what each of them says about itself. The geometry
// of the whole checksum is judged in region_map_arithmetic.js.

import { printable } from "./bytes.js";
import { JsonObject } from "./json.js";
import { ADDRESS_LIMIT } from "./schema.js";
import { Crc, crcFault } from "./crc.js";
import { findCrc } from "./crc_catalogue.js";
import { lowMask, sumFault } from "./sum.js";
import { RangeSet } from "./range_set.js";
import { LIST_LIMIT, NameList, isPlaced, quoted, readHex, readMapLine, readMemory, readNote, readNumber, readOrder, readRange, readSize } from "./region_map_draft.js";
import { rangesOverlap, shifted, sizeOf } from "./place.js";

const CHECKSUM_PLACE_LIMIT = 65536;  // all checksums together, after repetition
const LITERAL_LIMIT = 256;           // bytes
const SLOT_SIZE_LIMIT = 32;
const BALANCE_SIZE_LIMIT = 8;
const MOST_64_BITS = lowMask(64);

const hexOf = (number) => `0x${number.toString(16)}`;

function contradict(draft, node, found, expected, next) {
  draft.note("checksums", node, "map-checksum", found, expected, next);
}

// Refuses more places than the limit before anything of their number is built.
function takePlaces(draft, node, places) {
  draft.checksumPlaces += places;
  if (draft.checksumPlaces <= CHECKSUM_PLACE_LIMIT) return;
  node.refuse("json-value", `${draft.checksumPlaces} places in checksums after repetition`, `at most ${CHECKSUM_PLACE_LIMIT}`);
}

// Bits of the value that an algorithm gives: 3 to 64, or 256 for SHA-256.
export function algorithmBits({ kind, crc, sum, width }) {
  return kind === "crc" ? crc.width : kind === "sum" ? sum.accumulator : width;
}

const PLACEHOLDER_CRC = { width: 32, poly: 0x04c11db7n, init: 0n, refin: false, refout: false, xorout: 0n };

function readCrc(draft, node) {
  let crc;
  let name;
  if (node.kind === "string") {
    const wanted = node.text();
    crc = findCrc(wanted);
    if (crc === undefined) {
      draft.note("names", node, "map-name", `the CRC "${printable(wanted, 60)}"`,
        'a name or alias of the CRC catalogue, such as "CRC-32/ISO-HDLC"',
        "correct the name, or give width, poly, init, refin, refout and xorout");
      return { kind: "crc", name: "", crc: PLACEHOLDER_CRC };
    }
    ({ name } = crc);
  } else {
    const object = new JsonObject(node);
    crc = { width: object.required("width").integer(0, 1024) };
    crc.poly = object.required("poly").number(0n, MOST_64_BITS);
    crc.init = object.required("init").number(0n, MOST_64_BITS);
    crc.refin = object.required("refin").boolean();
    crc.refout = object.required("refout").boolean();
    crc.xorout = object.required("xorout").number(0n, MOST_64_BITS);
    object.done();
    name = `CRC of ${crc.width} bits, polynomial ${hexOf(crc.poly)}`;
  }
  const fault = crcFault(crc);
  if (fault === undefined) return { kind: "crc", name, crc };
  contradict(draft, node, fault.found, fault.expected, "correct the CRC parameters, or name an algorithm of the catalogue");
  return { kind: "crc", name, crc: PLACEHOLDER_CRC };
}

function readSum(draft, node) {
  const object = new JsonObject(node);
  const sum = { unit: object.required("unit").integer(0, 1024), order: readOrder(object) };
  sum.operation = object.optional("operation")?.choice(["add", "add-end-around", "xor"]) ?? "add";
  sum.accumulator = object.has("accumulator") ? object.required("accumulator").integer(0, 1024) : sum.unit;
  sum.init = object.has("init") ? object.required("init").number(0n, MOST_64_BITS) : 0n;
  object.done();
  const operation = { "add": "sum", "add-end-around": "one's complement sum", "xor": "exclusive or" }[sum.operation];
  const words = sum.unit === 8 ? "bytes" : `${sum.unit}-bit ${sum.order}-endian words`;
  const kept = sum.accumulator === sum.unit ? "" : ` in ${sum.accumulator} bits`;
  const fault = sumFault(sum);
  if (fault !== undefined) contradict(draft, node, fault.found, fault.expected, "correct the parameters of the sum");
  const usable = fault === undefined ? sum : { unit: 8, order: "little", operation: "add", accumulator: 32, init: 0n };
  return { kind: "sum", name: `${operation} of ${words}${kept}`, sum: usable };
}

// A whole number that must be one of a few.
function readWidth(node, allowed) {
  const width = node.integer(0, Number.MAX_SAFE_INTEGER);
  if (!allowed.includes(width)) node.refuse("json-value", String(width), allowed.join(" or "));
  return width;
}

function readAlgorithm(draft, node) {
  const object = new JsonObject(node);
  const member = (key) => object.optional(key);
  let algorithm;
  if (object.has("crc")) {
    algorithm = readCrc(draft, member("crc"));
  } else if (object.has("sum")) {
    algorithm = readSum(draft, member("sum"));
  } else if (object.has("fletcher")) {
    const width = readWidth(member("fletcher"), [16, 32]);
    const order = width === 32 ? readOrder(object) : "little";
    algorithm = { kind: "fletcher", name: `Fletcher-${width}${width === 32 ? ` of ${order}-endian words` : ""}`, width, order };
  } else if (object.has("adler")) {
    algorithm = { kind: "adler", name: "Adler-32", width: readWidth(member("adler"), [32]) };
  } else if (object.has("sha")) {
    algorithm = { kind: "sha", name: "SHA-256", width: readWidth(member("sha"), [256]) };
  } else {
    node.refuse("json-missing-key", "no algorithm", 'one of "crc", "sum", "fletcher", "adler", "sha"');
  }
  object.done();
  return algorithm;
}

// Optional "stride" of a place in a checksum that repeats.
function readStride(draft, object, declared) {
  const node = object.optional("stride");
  if (node === undefined) return 0;
  const stride = Number(node.number(1n, BigInt(ADDRESS_LIMIT)));
  if (!declared.repeats) {
    contradict(draft, node, "a stride, and no repetition", '"stride" only in a checksum with "repeat"',
      "remove the stride, or say how often the checksum repeats");
  }
  return stride;
}

// A place of which the whole repetition was judged, as {memory, range, stride}.
function readRepeated(draft, object, declared, start, size = undefined) {
  const memory = readMemory(draft, object);
  const begin = object.required(start).address();
  const bytes = size ?? readSize(object);
  const stride = readStride(draft, object, declared);
  return { memory, range: readRange(draft, object.node, memory, begin, bytes, declared.count, stride), stride };
}

function readTable(draft, node, declared) {
  const object = new JsonObject(node);
  const table = { memory: readMemory(draft, object), at: object.required("at").address() };
  table.records = readNumber(object, "records", 1, LIST_LIMIT);
  table.recordSize = readNumber(object, "record_size", 1, ADDRESS_LIMIT);
  table.order = readOrder(object, true);
  table.startAt = readNumber(object, "start_at", 0, ADDRESS_LIMIT);
  table.endAt = readNumber(object, "end_at", 0, ADDRESS_LIMIT);
  table.end = object.required("end").choice(["last", "after", "length"]);
  table.pointsInto = readMemory(draft, object, "points_into");
  table.skipBlank = object.has("skip_blank") ? object.required("skip_blank").boolean() : false;
  const own = object.optional("record")?.choice(["all", "own"]) === "own";
  object.done();

  readRange(draft, node, table.memory, table.at, table.records * table.recordSize);
  const { startAt, endAt, recordSize, records } = table;
  if (startAt + 4 > recordSize || endAt + 4 > recordSize) {
    contradict(draft, node, `records of ${recordSize} bytes with values at ${startAt} and ${endAt}`,
      "both 32-bit values inside the record", "correct record_size, start_at or end_at");
  } else if (rangesOverlap({ begin: startAt, end: startAt + 4 }, { begin: endAt, end: endAt + 4 })) {
    contradict(draft, node, `values at ${startAt} and ${endAt}`, "two 32-bit values that do not share bytes",
      "correct start_at or end_at");
  }
  if (own && !declared.repeats) {
    contradict(draft, node, '"record": "own", and no repetition', '"own" only in a checksum with "repeat"',
      "say how often the checksum repeats, or read all records");
  } else if (own && records < declared.count) {
    contradict(draft, node, `${records} records for ${declared.count} checksums`, "a record for each",
      "correct records or repeat");
  }
  return { table, own };
}

function readCoverage(draft, object, declared) {
  const list = object.required("coverage");
  const nodes = list.items(LIST_LIMIT);
  if (nodes.length === 0) list.refuse("json-value", "no coverage", "at least one range, literal or table");
  takePlaces(draft, list, nodes.length * declared.count);
  for (const node of nodes) {
    const item = new JsonObject(node);
    let part;
    if (item.has("literal")) {
      part = { kind: "literal", bytes: readHex(item, "literal", LITERAL_LIMIT) };
    } else if (item.has("table")) {
      const written = item.optional("table");
      const { table, own } = readTable(draft, written, declared);
      if (!own) takePlaces(draft, written, table.records * declared.count);
      part = { kind: "table", table, own };
    } else {
      part = { kind: "range", ...readRepeated(draft, item, declared, "start") };
    }
    item.done();
    declared.coverage.push({ ...part, node });
  }
}

function readSubstitutes(draft, object, declared) {
  const list = object.optional("substitute");
  if (list === undefined) return;
  const nodes = list.items(LIST_LIMIT);
  takePlaces(draft, list, nodes.length * declared.count);
  for (const node of nodes) {
    const item = new JsonObject(node);
    const place = readRepeated(draft, item, declared, "start");
    const as = item.required("as").hex(1, 1)[0];
    item.done();
    declared.substitutes.push({ ...place, as, node });
  }
}

// complement, add and bits: how the result comes from the algorithm's value.
function readResult(draft, object, declared) {
  const width = algorithmBits(declared.algorithm);
  const isDigest = declared.algorithm.kind === "sha";
  for (const key of ["complement", "add", "bits"]) {
    if (!isDigest || !object.has(key)) continue;
    contradict(draft, object.optional(key), `"${key}" for SHA-256`, "no such key for SHA-256",
      "remove the key; slots may hold any leading part of the digest");
  }
  declared.complement = object.optional("complement")?.choice(["none", "ones", "twos"]) ?? "none";
  const add = object.optional("add");
  declared.add = add === undefined ? 0n : add.number(0n, MOST_64_BITS);
  if (add !== undefined && !isDigest && declared.add > lowMask(width)) {
    contradict(draft, add, hexOf(declared.add), `at most ${hexOf(lowMask(width))}`,
      `the number is added modulo 2^${width}: give it reduced`);
  }
  declared.bits = width;
  const bits = object.optional("bits");
  if (bits === undefined) return;
  const kept = bits.integer(1, 256);
  if (kept <= width) declared.bits = kept;
  else contradict(draft, bits, `${kept} bits`, `at most the ${width} of the algorithm`, "correct bits, or the width of the algorithm");
}

// Bits of which every value fits into `size` bytes of an encoding, at most 64.
function roomFor(encoding, size) {
  if (encoding === "binary") return Math.min(64, 8 * size);
  if (encoding !== "decimal") return Math.min(64, 4 * size);
  return Math.min(64, (10n ** BigInt(size)).toString(2).length - 1);
}

function readDigestSlot(draft, item, slot) {
  for (const key of ["order", "encoding", "bits"]) {
    if (!item.has(key)) continue;
    contradict(draft, item.optional(key), `"${key}" for SHA-256`, "no such key for SHA-256",
      "remove the key: the digest's bytes stand as they come");
  }
  if (!["plain", "complement"].includes(slot.transform)) {
    contradict(draft, item.node, "a transform that counts in bits", '"plain" or "complement" for SHA-256', "remove the transform");
  }
  const size = sizeOf(slot.range);
  slot.bits = 8 * size;
  if (slot.from + size > 32) {
    contradict(draft, item.node, `bytes ${slot.from} to ${slot.from + size - 1}`, "bytes 0 to 31 of the digest",
      "correct from or size");
  }
}

function readSlotPart(draft, item, slot, size, resultBits) {
  const room = roomFor(slot.encoding, size);
  const left = resultBits - slot.from;
  slot.bits = item.optional("bits")?.integer(1, 64) ?? Math.min(left, room);
  if (slot.from >= resultBits || slot.bits > left) {
    contradict(draft, item.node, `bits ${slot.from} to ${slot.from + slot.bits - 1}`,
      `bits 0 to ${resultBits - 1} of the result`, "correct from or bits");
  } else if (slot.bits > room) {
    contradict(draft, item.node, `${slot.bits} bits in ${size} bytes`, `at most ${room} bits in this encoding and size`,
      "correct size, bits or encoding");
  }
}

// Every bit of the result must be held somewhere; of a digest, any leading bytes.
function checkHeld(draft, list, declared) {
  const isDigest = declared.algorithm.kind === "sha";
  const held = new RangeSet();
  for (const slot of declared.slots) {
    held.add({ begin: slot.from, end: slot.from + (isDigest ? sizeOf(slot.range) : slot.bits) });
  }
  const complete = isDigest ? held.ranges.length === 1 && held.has(0) : held.contains({ begin: 0, end: declared.bits });
  if (complete) return;
  const found = held.ranges.map(({ begin, end }) => `${begin} to ${end - 1}`).join(", ");
  contradict(draft, list, `${isDigest ? "bytes" : "bits"} ${found}`,
    isDigest ? "leading bytes of the digest without a gap, from byte 0" : `every bit from 0 to ${declared.bits - 1}`,
    'add the missing slot, or state with "bits" that fewer bits are kept');
}

function readSlots(draft, list, declared) {
  const nodes = list.items(LIST_LIMIT);
  if (nodes.length === 0) list.refuse("json-value", "no slot", "at least one slot");
  takePlaces(draft, list, nodes.length * declared.count);
  for (const node of nodes) {
    const item = new JsonObject(node);
    const size = readNumber(item, "size", 1, SLOT_SIZE_LIMIT);
    const slot = { ...readRepeated(draft, item, declared, "at", size), order: readOrder(item), node };
    slot.encoding = item.optional("encoding")?.choice(["binary", "hex-lower", "hex-upper", "decimal"]) ?? "binary";
    slot.transform = item.optional("transform")?.choice(["plain", "complement", "negate", "reverse"]) ?? "plain";
    slot.from = item.optional("from")?.integer(0, 63) ?? 0;
    if (declared.algorithm.kind === "sha") {
      item.optional("bits")?.integer(1, 64);
      readDigestSlot(draft, item, slot);
    } else {
      readSlotPart(draft, item, slot, size, declared.bits);
    }
    item.done();
    declared.slots.push(slot);
  }
  if (declared.slots.every(isPlaced)) checkHeld(draft, list, declared);
}

function readRule(draft, node, declared) {
  const { algorithm } = declared;
  const isDigest = algorithm.kind === "sha";
  const object = new JsonObject(node);
  const rule = { equals: 0n, balance: undefined };
  const equals = object.required("equals");
  if (equals.kind !== "string" || equals.value !== "residue") {
    rule.equals = equals.number(0n, MOST_64_BITS);
    if (!isDigest && rule.equals > lowMask(declared.bits)) {
      contradict(draft, equals, hexOf(rule.equals), `at most ${hexOf(lowMask(declared.bits))}`,
        `the result has ${declared.bits} bits: correct equals or bits`);
    }
  } else if (algorithm.kind !== "crc" || declared.complement !== "none" || declared.add !== 0n ||
             declared.bits !== algorithm.crc.width) {
    contradict(draft, equals, `"residue" of ${algorithm.name} changed or cut, or of no CRC`,
      "a CRC kept whole, without complement, add or bits", "give the number that the result must equal");
  } else {
    // The catalogue states the residue before xorout; the finished result has it applied.
    rule.equals = new Crc(algorithm.crc).residue() ^ algorithm.crc.xorout;
  }
  const balance = object.optional("balance");
  if (balance !== undefined) {
    const item = new JsonObject(balance);
    const size = readNumber(item, "size", 1, BALANCE_SIZE_LIMIT);
    rule.balance = { ...readRepeated(draft, item, declared, "at", size), order: readOrder(item), node: balance };
    item.done();
  }
  object.done();
  if (isDigest) {
    contradict(draft, node, "a rule for SHA-256", "slots that hold the digest", "give slots in place of the rule");
  }
  declared.rule = rule;
}

// Known from bytes alone, and nobody vouches for it: verified, and never written.
export const isUnconfirmed = ({ drafted, confirmed }) => drafted !== "" && confirmed === "";

// What correction sets.
export function writtenPlaces(checksum) {
  if (isUnconfirmed(checksum)) return [];
  return checksum.rule?.balance === undefined ? checksum.slots : [checksum.rule.balance];
}

// drafted and confirmed: whence it is known, and who vouches for it.
function readStanding(draft, object, declared) {
  const drafted = object.optional("drafted");
  if (drafted !== undefined) {
    declared.drafted = readMapLine(drafted);
    if (declared.rule?.balance !== undefined) {
      contradict(draft, drafted, "\"drafted\" beside a balance", "a drafted rule without a balance",
        "remove the balance, or what says that the checksum was drafted");
    }
  }
  const confirmed = object.optional("confirmed");
  if (confirmed === undefined) return;
  const line = readMapLine(confirmed);
  if (declared.drafted === "" || !/^[0-9]{4}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01]) ./.test(line)) {
    confirmed.refuse("json-value", declared.drafted === "" ? "\"confirmed\" without \"drafted\"" : quoted(line),
      "beside \"drafted\", a date as 2026-12-01, a space, and who confirms it on what grounds");
  }
  declared.confirmed = line;
}

const moved = (place, i) => ({ ...place, range: shifted(place.range, place.stride, i) });

function expandChecksum(draft, declared) {
  for (let i = 0; i < declared.count; ++i) {
    const { rule } = declared;
    draft.map.checksums.push({
      ...declared,
      name: declared.repeats ? `${declared.name}[${i}]` : declared.name,
      coverage: declared.coverage.map((part) =>
        part.kind === "range" ? moved(part, i) : part.own ? { ...part, record: i } : part),
      substitutes: declared.substitutes.map((place) => moved(place, i)),
      slots: declared.slots.map((slot) => moved(slot, i)),
      rule: rule && { ...rule, balance: rule.balance && moved(rule.balance, i) },
    });
  }
}

export function readChecksums(draft, top) {
  const list = top.optional("checksums");
  if (list === undefined) return;
  const names = new NameList();
  for (const node of list.items(LIST_LIMIT)) {
    const object = new JsonObject(node);
    const declared = { node, name: names.read(draft, object), note: readNote(object), coverage: [], substitutes: [], slots: [],
      swap: 0, rule: undefined, drafted: "", confirmed: "" };
    const repeat = object.optional("repeat");
    declared.repeats = repeat !== undefined;
    declared.count = repeat === undefined ? 1 : Number(repeat.number(1n, BigInt(LIST_LIMIT)));
    if (declared.count > LIST_LIMIT - draft.map.checksums.length) {
      node.refuse("json-value", `${draft.map.checksums.length + declared.count} checksums after repetition`,
        `at most ${LIST_LIMIT}`);
    }
    declared.algorithm = readAlgorithm(draft, object.required("algorithm"));
    readCoverage(draft, object, declared);
    readSubstitutes(draft, object, declared);
    const swap = object.optional("swap");
    if (swap !== undefined) declared.swap = readWidth(swap, [16, 32]);
    readResult(draft, object, declared);
    const slots = object.optional("slots");
    const rule = object.optional("rule");
    if ((slots === undefined) === (rule === undefined)) {
      contradict(draft, node, slots === undefined ? "neither slots nor a rule" : "both slots and a rule", "exactly one of the two",
        slots === undefined ? "say where the result is kept, or what it must equal" : "remove one");
    }
    if (slots !== undefined) readSlots(draft, slots, declared);
    if (rule !== undefined) readRule(draft, rule, declared);
    readStanding(draft, object, declared);
    object.done();
    expandChecksum(draft, declared);
  }
}
