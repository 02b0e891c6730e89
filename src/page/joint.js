// Checksums that depend on each other, or on themselves, solved as one linear system over GF(2): CRCs and exclusive-or sums are
// affine in every bit they cover, so "every slot holds its right value" is a set of linear equations in the bits of the slots.

import { crcOf } from "./crc.js";
import { lowMask } from "./sum.js";
import { rankOf, solveGf2 } from "./gf2.js";
import { copiedByte } from "./verify.js";
import { computeValue, decodeWord, encodeSlot, finishValue, unfinishNumber } from "./value.js";
import { comparePlaces, rangesOverlap, sizeOf } from "./place.js";
import { xorLane } from "./region_map_arithmetic.js";
import { viewAt } from "./image.js";

export const JOINT_BIT_LIMIT = 1024;  // unknown bits of one system; also equations, also members

function isAffine(plan, node) {
  if (node.isCopy) return plan.map.copies[node.index].transform !== "offset";
  const { algorithm, rule, complement, add, slots } = plan.map.checksums[node.index];
  if (algorithm.kind !== "crc" && !(algorithm.kind === "sum" && algorithm.sum.operation === "xor")) return false;
  if (rule !== undefined) return true;  // its wanted value is undone to the algorithm's own
  if (complement === "twos" || add !== 0n) return false;
  return slots.every((slot) => slot.encoding === "binary" && slot.transform !== "negate");
}

// The group's copies, each after those that it repeats; nothing when they repeat each other in a circle.
function copiesInOrder(plan, group) {
  const copies = group.nodes.filter((index) => plan.nodes[index].isCopy);
  const copyAt = (i) => plan.map.copies[plan.nodes[copies[i]].index];
  const repeats = (i, j) => copyAt(i).of.memory === copyAt(j).memory && rangesOverlap(copyAt(i).of.range, copyAt(j).range);
  const waitsFor = copies.map((_, i) => copies.filter((__, j) => repeats(i, j)).length);
  const ready = copies.map((_, i) => i).filter((i) => waitsFor[i] === 0);
  for (let done = 0; done < ready.length; ++done) {
    copies.forEach((_, i) => {
      if (repeats(i, ready[done]) && --waitsFor[i] === 0) ready.push(i);
    });
  }
  return ready.length === copies.length ? ready.map((i) => copies[i]) : undefined;
}

// The unknown bytes and every byte of the group's copies that repeats one, as {memory, range, index}.
function repeatedBytes(plan, copies, unknowns) {
  const all = [];
  for (let i = 0; i < unknowns.length; i += 8) {
    const { memory, address } = unknowns[i];
    const repeated = [[memory, address]];
    for (const index of copies) {
      const { of, memory: toMemory, range } = plan.map.copies[plan.nodes[index].index];
      for (const [ofMemory, at] of repeated.slice()) {
        if (of.memory === ofMemory && of.range.begin <= at && at < of.range.end) repeated.push([toMemory, range.begin + (at - of.range.begin)]);
      }
    }
    for (const [inMemory, at] of repeated) all.push({ memory: inMemory, address: at, index: i / 8 });
  }
  return all;
}

// Equations of one checksum: bits of its rule's value, or bits of its slots.
function equationsOf({ rule, bits, slots }) {
  return rule !== undefined ? bits : slots.reduce((sum, slot) => sum + 8 * sizeOf(slot.range), 0);
}

const bitsOfBytes = (bytes) => decodeWord(bytes, "little");

// A change of the value as a change of its checksum's equations. encodeSlot is affine here, so its linear part is the
// difference to the slot of value 0.
function valueChange(checksum, change) {
  if (checksum.rule !== undefined) return change & lowMask(checksum.bits);
  let vector = 0n;
  let first = 0n;
  for (const slot of checksum.slots) {
    const encoded = (value) => bitsOfBytes(encodeSlot(checksum.algorithm, slot, value));
    vector |= (encoded(change & lowMask(checksum.bits)) ^ encoded(0n)) << first;
    first += BigInt(8 * sizeOf(slot.range));
  }
  return vector;
}

// By the addresses for which a message with this lane reads them, sorted by place.
function namedBy(lane, repeated) {
  return repeated.map(({ memory, address, index }) => {
    const begin = xorLane(address, lane);
    return { memory, range: { begin, end: begin + 1 }, index };
  }).sort(comparePlaces);
}

// By unknown byte: changes of the algorithm's value when one of its bits flips, lowest first. `named`: what repeatedBytes() gives, by
// the addresses for which the message reads it.
function effectsOn({ algorithm }, message, named, count) {
  const walk = (take) => message.walkBack(named, take);
  if (algorithm.kind === "crc") return crcOf(algorithm.crc).byteEffects(message.length, count, walk);
  const effects = Array.from({ length: count }, () => new Array(8).fill(0n));
  const unit = algorithm.sum.unit / 8;
  walk((offset, index) => {
    const inWord = offset % unit;
    const first = 8 * (algorithm.sum.order === "big" ? unit - 1 - inWord : inWord);
    for (let bit = 0; bit < 8; ++bit) effects[index][bit] ^= 1n << BigInt(first + bit);
  });
  return effects;
}

// The bit of the checksum's own slots that the unknown is, among its equations; nothing when it is none.
function ownEquation({ slots, rule }, unknown) {
  let at = 0;
  for (const slot of rule === undefined ? slots : []) {
    const { begin, end } = slot.range;
    if (slot.memory === unknown.memory && begin <= unknown.address && unknown.address < end) {
      return BigInt(at + 8 * (unknown.address - begin) + unknown.bit);
    }
    at += 8 * sizeOf(slot.range);
  }
  return undefined;
}

// The constant part of the system: {unknowns, columns, copies, isSolvable, isUnique}; it looks at no byte of an image. Nothing
// when a member is not affine, when copies repeat each other in a circle, or beyond the limit.
export function makeJointSystem(plan, group) {
  if (group.nodes.length > JOINT_BIT_LIMIT) return undefined;
  const copies = copiesInOrder(plan, group);
  if (copies === undefined) return undefined;
  const unknowns = [];
  const members = [];
  let equations = 0;
  for (const node of group.nodes.map((index) => plan.nodes[index])) {
    if (!isAffine(plan, node)) return undefined;
    if (node.isCopy) continue;
    const checksum = plan.map.checksums[node.index];
    members.push({ node, checksum, first: BigInt(equations) });
    equations += equationsOf(checksum);
    for (const { memory, range } of node.writes) {
      if (8 * sizeOf(range) > JOINT_BIT_LIMIT) return undefined;
      for (let address = range.begin; address < range.end; ++address) {
        for (let bit = 0; bit < 8; ++bit) unknowns.push({ memory, address, bit });
      }
    }
    if (unknowns.length > JOINT_BIT_LIMIT || equations > JOINT_BIT_LIMIT) return undefined;
  }
  const columns = unknowns.map(() => 0n);
  const repeated = repeatedBytes(plan, copies, unknowns);
  const byLane = new Map();
  for (const { node, checksum, first } of members) {
    const { lane } = node.message;
    if (!byLane.has(lane)) byLane.set(lane, namedBy(lane, repeated));
    const effects = effectsOn(checksum, node.message, byLane.get(lane), unknowns.length / 8);
    unknowns.forEach((unknown, i) => {
      const change = effects[i >> 3][i & 7];
      columns[i] ^= valueChange(checksum, change) << first;
      const own = ownEquation(checksum, unknown);
      if (own !== undefined) columns[i] ^= 1n << (first + own);
    });
  }
  const rank = rankOf(columns);
  return { unknowns, columns, copies, members, isSolvable: rank === equations, isUnique: rank === unknowns.length };
}

function applyCopies(plan, copies, image) {
  for (const index of copies) {
    const copy = plan.map.copies[plan.nodes[index].index];
    viewAt(image, copy).set(viewAt(image, copy.of).map((byte) => copiedByte(copy, byte)));
  }
}

// Sets the slots of the group so that all its members hold; false when there is no solution. Bits stay as they are where there
// is choice.
export async function solveJointSystem(plan, system, image) {
  applyCopies(plan, system.copies, image);
  let residual = 0n;
  for (const { node, checksum, first } of system.members) {
    const value = await computeValue(plan, node, image);
    if (checksum.rule !== undefined) {
      residual ^= ((value ^ unfinishNumber(checksum, checksum.rule.equals)) & lowMask(checksum.bits)) << first;
      continue;
    }
    let at = first;
    for (const slot of checksum.slots) {
      const right = encodeSlot(checksum.algorithm, slot, finishValue(checksum, value));
      residual ^= (bitsOfBytes(right) ^ bitsOfBytes(viewAt(image, slot))) << at;
      at += BigInt(8 * sizeOf(slot.range));
    }
  }
  const chosen = solveGf2(system.columns, residual);
  if (chosen === undefined) return false;
  system.unknowns.forEach(({ memory, address, bit }, i) => {
    if (((chosen >> BigInt(i)) & 1n) === 0n) return;
    viewAt(image, { memory, range: { begin: address, end: address + 1 } })[0] ^= 1 << bit;
  });
  applyCopies(plan, system.copies, image);
  return true;
}
