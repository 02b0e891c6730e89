// A shop that writes bundles from the pages of the format alone, byte by byte and without a thought of speed. It shares no code
// with src/page: what it computes and what the page proves come from the text twice.
//
// All memories together are one row of bytes; a byte is known by its place in it ("flat").
import { createHash, createHmac } from "node:crypto";

import { bundle, keyOf, listEntries, sha256Hex } from "./forge.mjs";

const PINNED = ["locked", "editable", "derived"];
export const addressText = (address) => "0x" + address.toString(16).padStart(8, "0");
const hex = (bytes) => Buffer.from(bytes).toString("hex");
const sha256 = (bytes) => createHash("sha256").update(Buffer.from(bytes)).digest("hex");

function layOutMemories(map) {
  let flat = 0;
  return map.memories.map(({ name, origin, size }) => {
    const memory = { name, origin: Number(origin), size, flat };
    flat += size;
    return memory;
  });
}

// The map as the words of docs/proof.md have it: who owns and reads what, and of what kind each byte is.
export class Shape {
  constructor(map, known) {
    this.map = map;
    this.memories = layOutMemories(map);
    this.size = this.memories.reduce((sum, { size }) => sum + size, 0);
    this.known = known ?? new Array(this.size).fill(true);
    this.regions = map.regions.flatMap((region) => Array.from({ length: region.count ?? 1 }, (_, i) => ({
      name: region.count === undefined ? region.name : `${region.name}[${i}]`, policy: region.policy,
      flats: this.flats(region.memory, Number(region.start) + i * (region.stride ?? 0), region.size),
    })));
    this.binding = (map.identity ?? []).filter(({ binds }) => binds);
    this.patches = map.permitted_patches ?? [];
    this.makeNodes();
    this.markBytes();
  }

  flats(memory, start, size) {
    const { flat, origin } = this.memories.find(({ name }) => name === memory);
    return Array.from({ length: size }, (_, i) => flat + Number(start) - origin + i);
  }

  fieldFlats = ({ memory, at, size }) => this.flats(memory, at, size);

  patchFlats = ({ memory, at, before }) => this.flats(memory, at, before.length / 2);

  makeNodes() {
    const checksums = (this.map.checksums ?? []).map((checksum) => {
      const message = checksum.coverage.flatMap(({ memory, start, size }) => this.flats(memory, start, size));
      const slots = (checksum.slots ?? []).map((slot) => ({ ...slot, flats: this.fieldFlats(slot) }));
      const balance = checksum.rule?.balance === undefined ? [] : this.fieldFlats(checksum.rule.balance);
      const owns = [...slots.map(({ flats }) => flats), ...(balance.length > 0 ? [balance] : [])];
      return { name: checksum.name, checksum, message, slots, balance, owns, reads: message.filter((flat) => !balance.includes(flat)) };
    });
    const copies = (this.map.copies ?? []).map((copy) => {
      const of = this.flats(copy.of.memory, copy.of.start, copy.size);
      const to = this.flats(copy.memory, copy.start, copy.size);
      return { name: copy.name, copy, of, to, owns: [to], reads: of };
    });
    this.nodes = [...checksums, ...copies];
    this.owner = new Array(this.size).fill(-1);
    this.nodes.forEach((node, i) => node.owns.flat().forEach((flat) => (this.owner[flat] = i)));
  }

  // Nodes that read one of these bytes, themselves or through others.
  reachedBy(isWanted) {
    const reached = this.nodes.map(() => false);
    for (let changed = true; changed;) {
      changed = false;
      this.nodes.forEach((node, i) => {
        if (reached[i] || !node.reads.some((flat) => isWanted(flat) || (this.owner[flat] >= 0 && reached[this.owner[flat]]))) return;
        reached[i] = changed = true;
      });
    }
    return reached;
  }

  markBytes() {
    const policy = new Array(this.size).fill("locked");
    for (const region of this.regions) for (const flat of region.flats) policy[flat] = region.policy;
    const bound = new Set(this.binding.flatMap(this.fieldFlats));
    const patched = new Set(this.patches.flatMap(this.patchFlats));
    const isLearned = (flat) => policy[flat] === "volatile" && this.owner[flat] < 0;
    this.floats = this.reachedBy((flat) => isLearned(flat) || bound.has(flat));
    this.kinds = policy.map((declared, flat) => {
      if (bound.has(flat)) return "binding";
      if (this.owner[flat] >= 0) return this.floats[this.owner[flat]] ? "floating" : "derived";
      return declared === "volatile" || declared === "editable" ? declared : "locked";
    });
    this.isArea = (flat) => this.known[flat] && (this.kinds[flat] === "editable" || this.kinds[flat] === "derived" || patched.has(flat));
    const written = this.reachedBy(this.isArea);
    this.isWritten = (flat) => this.isArea(flat) ||
      (this.known[flat] && this.owner[flat] >= 0 && this.floats[this.owner[flat]] && written[this.owner[flat]]);
  }

  // Maximal runs of flats of one memory where `holds`; `cut(flat)` begins a new one.
  runs(holds, cut = () => false) {
    const runs = [];
    for (const memory of this.memories) {
      let open = null;
      for (let flat = memory.flat; flat < memory.flat + memory.size; ++flat) {
        if (!holds(flat)) open = null;
        else if (open === null || cut(flat)) runs.push((open = { memory: memory.name, start: addressText(memory.origin + flat - memory.flat), size: 1, flat }));
        else ++open.size;
      }
    }
    return runs;
  }

  spans() {
    const cuts = new Set();
    const cut = (flats) => cuts.add(flats[0]).add(flats.at(-1) + 1);
    this.regions.forEach(({ flats }) => cut(flats));
    this.nodes.forEach(({ owns }) => owns.forEach(cut));
    this.binding.map(this.fieldFlats).forEach(cut);
    const knownEdge = (flat) => flat > 0 && this.known[flat] !== this.known[flat - 1];
    return this.runs(() => true, (flat) => cuts.has(flat) || knownEdge(flat)).map((span) => {
      const kind = this.kinds[span.flat];
      return { ...span, kind, isPinned: this.known[span.flat] && PINNED.includes(kind) };
    });
  }
}

// CRC-16/IBM-3740, bit by bit.
function crc16(bytes) {
  let crc = 0xffff;
  for (const byte of bytes) {
    crc ^= byte << 8;
    for (let bit = 0; bit < 8; ++bit) crc = crc & 0x8000 ? ((crc << 1) ^ 0x1021) & 0xffff : (crc << 1) & 0xffff;
  }
  return crc;
}

// The finished result: {"crc": "CRC-16/IBM-3740"}, sums of bytes, exclusive-or of bytes.
function valueOf({ algorithm }, bytes) {
  if (algorithm.crc !== undefined) return crc16(bytes);
  if (algorithm.sum.operation === "xor") return bytes.reduce((sum, byte) => sum ^ byte, 0);
  return bytes.reduce((sum, byte) => sum + byte, 0) % 2 ** algorithm.sum.accumulator;
}

const take = (image, flats) => flats.map((flat) => image[flat]);
const encode = (value, { size, order }) => {
  const bytes = Array.from({ length: size }, (_, i) => Math.floor(value / 256 ** i) % 256);
  return order === "big" ? bytes.reverse() : bytes;
};
const copied = ({ transform }, byte) => (transform === "complement" ? 255 - byte : byte);

// What a node should own, as [flat, byte].
function rightBytes(node, image) {
  if (node.copy !== undefined) return node.to.map((flat, i) => [flat, copied(node.copy, image[node.of[i]])]);
  const { checksum, message, slots, balance } = node;
  if (checksum.rule === undefined) {
    const value = valueOf(checksum, take(image, message));
    return slots.flatMap((slot) => encode(value, slot).map((byte, i) => [slot.flats[i], byte]));
  }
  if (balance.length === 0) return [];
  const without = valueOf(checksum, message.map((flat) => (balance.includes(flat) ? 0 : image[flat])));
  return [[balance[0], (checksum.rule.equals - without) & 0xff]];
}

// Every node right, or those of which `which` says so. Nodes of the maps here lead to no circle.
export function correct(shape, image, which = () => true) {
  const out = [...image];
  for (let round = 0; round <= shape.nodes.length; ++round) {
    shape.nodes.forEach((node, i) => which(node, i) && rightBytes(node, out).forEach(([flat, byte]) => (out[flat] = byte)));
  }
  return out;
}

function checkRow(shape, node, index, image) {
  const needed = [...node.reads, ...node.owns.flat()];
  if (!needed.every((flat) => shape.known[flat])) return { name: node.name, state: "not-provable", value: "" };
  const isRule = node.checksum?.rule !== undefined;
  const found = isRule ? valueOf(node.checksum, take(image, node.message)) : 0;
  const holds = isRule ? found === node.checksum.rule.equals : rightBytes(node, image).every(([flat, byte]) => image[flat] === byte);
  const bits = isRule ? node.checksum.algorithm.sum?.accumulator ?? 16 : 0;
  const value = node.copy !== undefined || shape.floats[index] ? "" : isRule ? found.toString(16).padStart(Math.ceil(bits / 4), "0") : hex(take(image, node.owns.flat()));
  return { name: node.name, state: holds ? "holds" : "fails", value };
}

function decode(encoding, bytes) {
  if (encoding === "ascii") {
    let end = bytes.length;
    while (end > 0 && [0x00, 0x20, 0xff].includes(bytes[end - 1])) --end;
    const rest = bytes.slice(0, end);
    if (rest.every((byte) => byte >= 0x20 && byte <= 0x7e)) return String.fromCharCode(...rest);
  }
  if (encoding === "bcd" && /^\d+$/.test(hex(bytes))) return hex(bytes);
  if (encoding === "integer-big") return BigInt("0x" + hex(bytes)).toString();
  if (encoding === "integer-little") return BigInt("0x" + hex([...bytes].reverse())).toString();
  return hex(bytes);
}

function standing(shape, patch, image) {
  const flats = shape.patchFlats(patch);
  const stands = (side) => flats.every((flat, i) => !shape.known[flat] || image[flat] === Buffer.from(patch[side], "hex")[i]);
  if (stands("before")) return "before";
  return stands("after") ? "after" : "broken";
}

function regionOf(shape, flat) {
  return shape.regions.find(({ flats }) => flats.includes(flat))?.name ?? "";
}

function changesOf(shape, spans, base, result) {
  return spans.filter(({ isPinned }) => isPinned).flatMap((span) =>
    shape.runs((flat) => flat >= span.flat && flat < span.flat + span.size && base[flat] !== result[flat])
      .map(({ memory, start, size, flat }) => ({ memory, start, size, region: regionOf(shape, flat), option: "" })));
}

export function pinnedDigest(spans, side) {
  return sha256(Buffer.from(spans.map((span) => (span[side] === "" ? "" : `${span.memory} ${span.start} ${span.size} ${span[side]}\n`)).join("")));
}

const plainRange = ({ start, size }) => ({ start, size });
const plainPlace = ({ memory, start, size }) => ({ memory, start, size });

function payloadOf(shape, spans, result, { kind, revision }) {
  const pinned = new Set(spans.filter(({ isPinned }) => isPinned).flatMap(({ flat, size }) => Array.from({ length: size }, (_, i) => flat + i)));
  const carries = kind === "areas" ? shape.isArea : revision === 0 ? (flat) => shape.known[flat] : (flat) => pinned.has(flat);
  const runs = shape.runs(carries);
  return shape.memories.map(({ name }) => runs.filter(({ memory }) => memory === name)).filter((own) => own.length > 0).map((own) => ({
    part: { memory: own[0].memory, entry: `payload/${shape.map.controller}/${own[0].memory}.bin`, ranges: own.map(plainRange) },
    bytes: own.flatMap(({ flat, size }) => result.slice(flat, flat + size)),
  }));
}

function bindingOf(shape, base, salt) {
  return shape.binding.map((field) => {
    const bytes = take(base, shape.fieldFlats(field));
    const isBlank = [0x00, 0xff].some((blank) => bytes.every((byte) => byte === blank));
    const isKnown = shape.fieldFlats(field).every((flat) => shape.known[flat]);
    const head = `${shape.map.controller} ${field.memory} ${field.at} ${field.size}\n`;
    const digest = salt === null || isBlank || !isKnown ? "" : createHmac("sha256", salt).update(head).update(Buffer.from(bytes)).digest("hex");
    return { name: field.name, memory: field.memory, start: field.at, size: field.size, digest };
  });
}

function filesOf(shape, spans, base, result, revision) {
  const raw = ({ name, flat, size }, image) => ({ memory: name, form: "raw", size, digest: sha256(image.slice(flat, flat + size)) });
  const isWhole = ({ flat, size }) => shape.known.slice(flat, flat + size).every(Boolean);
  if (revision === 0) return shape.memories.filter(isWhole).map((memory) => raw(memory, base));
  return spans.every(({ isPinned }) => isPinned) ? shape.memories.map((memory) => raw(memory, result)) : [];
}

function describeController(shape, mapText, base, result, job) {
  const { map } = shape;
  const spans = shape.spans();
  const digestOf = (image) => ({ flat, size, isPinned }) => (isPinned ? sha256(image.slice(flat, flat + size)) : "");
  const claimed = spans.map((span) => ({ ...plainPlace(span), kind: span.kind, before: digestOf(base)(span), after: digestOf(result)(span) }));
  const isPinnedField = (field) => shape.fieldFlats(field).every((flat) => shape.known[flat] && PINNED.includes(shape.kinds[flat]));
  const payload = payloadOf(shape, spans, result, job);
  const claims = {
    name: map.controller,
    region_map: { name: map.name, version: map.version, grade: map.evidence.grade, digest: sha256Hex(mapText) },
    memories: shape.memories.map(({ name, origin, size }) => ({
      name, origin: addressText(origin), size, known: shape.runs((flat) => shape.known[flat]).filter((run) => run.memory === name).map(plainRange),
    })),
    identity: (map.identity ?? []).filter(({ binds }) => !binds).map((field) => ({
      name: field.name, text: isPinnedField(field) ? decode(field.encoding, take(result, shape.fieldFlats(field))) : "",
    })),
    binding: bindingOf(shape, base, job.salt),
    spans: claimed,
    pinned: { before: pinnedDigest(claimed, "before"), after: pinnedDigest(claimed, "after") },
    files: filesOf(shape, spans, base, result, job.revision),
    checksums: shape.nodes.map((node, i) => checkRow(shape, node, i, result)),
    patches: shape.patches.map((patch) => ({ name: patch.name, base: standing(shape, patch, base), result: standing(shape, patch, result) })),
    write_ranges: shape.runs(shape.isWritten).map(plainPlace),
    payload: { kind: job.kind, parts: payload.map(({ part }) => part) },
  };
  return { claims, changes: changesOf(shape, spans, base, result), payload };
}

export const AUTHOR = keyOf(2);
const NO_ORDER = { time: "", parcel: "", options: [] };
const BASE_JOB = { revision: 1, kind: "areas", salt: null, vehicle: "blue estate", approvals: [], options: [], ordered: NO_ORDER, requirements: [], notes: "", cautions: [] };

// One revision, honestly told: {manifest, contents}, its entries not yet listed. `base` and `result` are rows of bytes.
export function describeRevision(shape, base, result, more = {}) {
  const job = { ...BASE_JOB, ...more };
  if (job.revision === 0) job.kind = "full";
  const mapText = Buffer.from(JSON.stringify(shape.map));
  const { claims, changes, payload } = describeController(shape, mapText, base, result, job);
  const manifest = {
    calseal: "revision/1", format: 1, job: "job-7", base: { number: 1, reason: "first read" }, revision: job.revision, sequence: job.revision + 1,
    parent: job.revision === 0 ? "" : "ab".repeat(32), set: "", claimed_time: "2026-03-04T05:06:07Z", trial: false, expires: "",
    required_roles: ["author"], title: job.revision === 0 ? "First read" : "Stage one", notes: job.notes, vehicle_reference: job.vehicle,
    salt_digest: job.salt === null ? "" : sha256(job.salt), controllers: [claims], permitted_returns: [], approvals: job.approvals, options: job.options,
    ordered: structuredClone(job.ordered), requirements: job.requirements, cautions: job.cautions, attachments: [], annotations: [], tool: "a test", entries: [],
  };
  const json = (value) => Buffer.from(JSON.stringify(value));
  const contents = [
    { name: `regions/${shape.map.controller}.json`, deflated: false, content: mapText },
    { name: "changes.json", deflated: false, content: json({ calseal: "changes/1", changes }) },
    ...payload.map(({ part, bytes }) => ({ name: part.entry, deflated: false, content: Buffer.from(bytes) })),
  ];
  return { manifest, contents };
}

export function repin(manifest) {
  const [controller] = manifest.controllers;
  controller.pinned = { before: pinnedDigest(controller.spans, "before"), after: pinnedDigest(controller.spans, "after") };
}

export function sealRevision({ manifest, contents }) {
  return bundle({ ...manifest, entries: listEntries(contents) }, contents, [AUTHOR]);
}

