// One controller for the tests of the proof: every kind of byte, nodes that float for each reason, patches that touch, a read.
import { correct, describeRevision, Shape } from "./small_shop.mjs";

export const FLASH = 0x80000000;
const at = (offset) => "0x" + (FLASH + offset).toString(16).padStart(8, "0");
const nv = (offset) => "0x" + offset.toString(16).padStart(8, "0");
const flash = (offset, size) => ({ memory: "flash", start: at(offset), size });
const slot = (offset, size, more = {}) => ({ memory: "flash", at: at(offset), size, ...more });
const SUM = { sum: { unit: 8, accumulator: 16 } };
const XOR = { sum: { unit: 8, operation: "xor", accumulator: 8 } };
const BYTE_SUM = { sum: { unit: 8, accumulator: 8 } };

export function walnutMap() {
  return {
    calseal: "region-map/1", name: "walnut", controller: "engine", version: 3,
    memories: [{ name: "flash", origin: at(0), size: 256 }, { name: "nv", origin: nv(0), size: 64 }],
    recognise: { all: [{ memory: "flash", at: at(0), bytes: "57414c00", mask: "ffffff00" }], software_numbers: ["W100", "W101"] },
    regions: [
      { name: "fuel", memory: "flash", start: at(0x40), size: 32, policy: "editable" },
      { name: "cell", memory: "flash", start: at(0x60), size: 16, count: 2, stride: 16, policy: "editable" },
      { name: "learned", memory: "flash", start: at(0xc0), size: 16, policy: "volatile" },
      { name: "habits", memory: "nv", start: nv(0x20), size: 16, policy: "volatile" },
    ],
    permitted_patches: [
      { name: "blink", memory: "flash", at: at(0x28), before: "0a0b0c", after: "0a1b1c" },
      { name: "beep", memory: "flash", at: at(0x2b), before: "01", after: "02" },
      { name: "update", memory: "flash", at: at(0x13), before: "30", after: "31" },
    ],
    copies: [
      { name: "mirror", memory: "flash", start: at(0xa0), size: 8, of: { memory: "flash", start: at(0x40) },
        active_bank: { memory: "flash", at: at(0x38), equals: "5a" } },
      { name: "live-copy", memory: "flash", start: at(0xa8), size: 2, of: { memory: "flash", start: at(0x94) }, transform: "complement" },
    ],
    checksums: [
      { name: "fuel", algorithm: SUM, coverage: [flash(0x40, 0x40)], slots: [slot(0x90, 2)] },
      { name: "program", algorithm: { crc: "CRC-16/IBM-3740" }, coverage: [flash(0, 0x40)], slots: [slot(0x92, 2, { order: "big" })] },
      { name: "live", algorithm: SUM, coverage: [flash(0xc0, 16), flash(0x40, 32)], slots: [slot(0x94, 2)] },
      { name: "own", algorithm: SUM, coverage: [{ memory: "nv", start: nv(0), size: 17 }, flash(0x40, 4)], slots: [slot(0x96, 2)] },
      { name: "outer", algorithm: XOR, coverage: [flash(0x96, 2)], slots: [slot(0x98, 1)] },
      { name: "plate", algorithm: SUM, coverage: [{ memory: "nv", start: nv(0), size: 17 }], slots: [{ memory: "nv", at: nv(0x30), size: 2 }] },
      { name: "even", algorithm: BYTE_SUM, coverage: [flash(0x60, 16), flash(0x9a, 1)], rule: { equals: 0, balance: slot(0x9a, 1) } },
      { name: "fixed", algorithm: BYTE_SUM, coverage: [flash(0x20, 4)], rule: { equals: 0x86 } },
    ],
    identity: [
      { name: "software", kind: "software-number", memory: "flash", at: at(0x10), size: 4, encoding: "ascii" },
      { name: "cvn", kind: "verification-number", memory: "flash", at: at(0x58), size: 4, encoding: "hex" },
      { name: "count", kind: "other", memory: "flash", at: at(0xc0), size: 2, encoding: "integer-big" },
      { name: "board", kind: "hardware-number", memory: "flash", at: at(0x18), size: 2, encoding: "bcd" },
      { name: "vin", kind: "vin", memory: "nv", at: nv(0), size: 17, encoding: "ascii", binds: true },
    ],
    manufacturer_signed: [{ name: "boot", places: [flash(0x30, 8)] }],
    erase_sectors: [{ memory: "flash", start: at(0), size: 0x40, count: 4 }],
    evidence: { author: "tests", verified_on: [], guesses: [], grade: "draft" },
  };
}

// Bytes that differ from address to address, and what the map asks for.
export function walnutBase(shape) {
  const image = Array.from({ length: shape.size }, (_, i) => (i * 7 + 3) % 251);
  const put = (offset, bytes) => bytes.forEach((byte, i) => (image[offset + i] = byte));
  put(0, [0x57, 0x41, 0x4c, 0x99]);
  put(0x10, [...Buffer.from("W100")]);
  put(0x18, [0x12, 0x34]);
  put(0x20, [0x80, 0x01, 0x02, 0x03]);
  put(0x28, [0x0a, 0x0b, 0x0c, 0x01]);
  put(0x38, [0x5a]);
  put(256, [...Buffer.from("WAL00000000000042")]);
  return correct(shape, image);
}

export const SALT = Buffer.alloc(32, 9);
export const EDIT = [[0x41, 200], [0x44, 7], [0x45, 8], [0x58, 0xaa], [0x62, 1], [0x7f, 2]];

// Three options were ordered, of which two are in the revision; a third one in it nobody ordered.
export const ORDERED = {
  options: [["launch", "Launch control"], ["boost", ""], ["quiet", "Quiet start"]].map(([name, title], i) => ({ name, title, digest: String(i).repeat(64) })),
  ordered: {
    time: "2026-02-28T23:59:59Z", parcel: "cd".repeat(32), options: [
      { name: "boost", title: "", why: "" }, { name: "economy", title: "Economy", why: "needs another gearbox" },
      { name: "launch", title: "Launch control", why: "" }],
  },
};

// `edits` are [flat, byte]; a patch is edited as any other byte.
export function walnut({ map = walnutMap(), known = undefined, edits = EDIT, base = undefined, ...job } = {}) {
  const knows = known ?? (() => true);
  const size = map.memories.reduce((sum, memory) => sum + memory.size, 0);
  const shape = new Shape(map, Array.from({ length: size }, (_, flat) => knows(flat)));
  const before = base ?? walnutBase(shape);
  const result = [...before];
  for (const [flat, byte] of job.revision === 0 ? [] : edits) result[flat] = byte;
  const isProvable = (node) => [...node.reads, ...node.owns.flat()].every((flat) => shape.known[flat]);
  const after = job.revision === 0 ? result : correct(shape, result, isProvable);
  return { shape, base: before, result: after, ...describeRevision(shape, before, after, { salt: SALT, ...job }) };
}

// The files of a read: a raw one for each memory.
export function readsOf(shape, image) {
  return shape.memories.map(({ name, flat, size }) => ({ memory: name, name: `${name}.bin`, bytes: Uint8Array.from(image.slice(flat, flat + size)) }));
}
