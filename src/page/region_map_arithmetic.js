// Whether each checksum's coverage, swap, substitutes and balance fit together.

import { addressText, grouped } from "./bytes.js";
import { Crc } from "./crc.js";
import { lowMask, onesComplement, twosComplement } from "./sum.js";
import { RangeSet } from "./range_set.js";
import { refusalAt } from "./region_map_draft.js";
import { placeText, rangesOverlap, sizeOf } from "./place.js";

export const CHECKSUM_READ_LIMIT = 2 ** 32;  // bytes read by all checksums together

// What is exclusive-ored onto an address before its byte is read: 0, 1 or 3.
export function laneOf(swap) {
  return swap === 0 ? 0 : swap / 8 - 1;
}

// `address` with its low two bits changed; beyond 31 bits, where the operators of the language do not reach.
export function xorLane(address, lane) {
  return lane === 0 ? address : address - (address % 4) + ((address % 4) ^ lane);
}

// Addresses whose bytes are read for a range: a swap mirrors them inside their group, so whole groups stay as they are and
// cut ones come from the group's other end.
export function readAddresses(range, lane) {
  const group = lane + 1;
  const mirrored = ({ begin, end }) => {
    const sum = 2 * (begin - (begin % group)) + group;
    return { begin: sum - end, end: sum - begin };
  };
  const wholeBegin = Math.ceil(range.begin / group) * group;
  const wholeEnd = range.end - (range.end % group);
  if (wholeEnd < wholeBegin) return [mirrored(range)];  // inside one group
  const read = [];
  if (range.begin < wholeBegin) read.push(mirrored({ begin: range.begin, end: wholeBegin }));
  if (wholeBegin < wholeEnd) read.push({ begin: wholeBegin, end: wholeEnd });
  if (wholeEnd < range.end) read.push(mirrored({ begin: wholeEnd, end: range.end }));
  return read;
}

function contradiction(checksum, node, found, expected, next) {
  return refusalAt(node, "map-checksum", `checksum "${checksum.name}": ${found}`, expected, next);
}

function unsolvable(checksum, found, expected) {
  return refusalAt(checksum.rule.balance.node, "map-unsolvable", `checksum "${checksum.name}": ${found}`, expected,
    "correct the balance, or leave it out: the rule is then verified but never corrected");
}

// Whether a table may reach into a memory; only an image tells where.
function hasTableInto(checksum, memory) {
  return checksum.coverage.some((part) => part.kind === "table" && part.table.pointsInto === memory);
}

// Gives the bytes that the ranges and literals have.
function judgeCoverage(draft, checksum) {
  let total = 0;
  for (const part of checksum.coverage) {
    if (part.kind === "literal") total += part.bytes.length;
    if (part.kind !== "range") continue;
    total += sizeOf(part.range);
    if (checksum.swap === 0) continue;
    for (const read of readAddresses(part.range, laneOf(checksum.swap))) {
      if (draft.exists[part.memory].contains(read)) continue;
      throw contradiction(checksum, part.node, `swapped bytes at ${placeText(draft.map, { memory: part.memory, range: read })}`,
        "the partner of every byte inside the memory and its segments",
        `let the range begin and end at a multiple of ${checksum.swap / 8}`);
    }
  }
  if (checksum.coverage.every((part) => part.kind === "literal")) {
    throw contradiction(checksum, checksum.node, "coverage of literal bytes alone", "at least one range or table",
      "say which bytes of the image it reads");
  }
  return total;
}

function judgeSubstitutes(draft, checksum) {
  if (checksum.substitutes.length === 0) return;
  const reached = draft.map.memories.map(() => new RangeSet());
  const ranges = checksum.coverage.filter((part) => part.kind === "range");
  for (const part of ranges) {
    for (const range of readAddresses(part.range, laneOf(checksum.swap))) reached[part.memory].add(range);
  }
  for (const place of checksum.substitutes) {
    if (reached[place.memory].overlaps(place.range) || hasTableInto(checksum, place.memory)) continue;
    throw contradiction(checksum, place.node, `a substitute at ${placeText(draft.map, place)} that nothing reads`,
      "a place that the coverage reaches", "correct the place, or remove the substitute");
  }
}

// Where the balance's bytes stand in the message, as far as it is known without an image: behind or inside a table it is not.
function findPositions(checksum) {
  const { balance } = checksum.rule;
  const positions = { at: [], isKnown: true, length: 0, isLengthKnown: true };
  const times = new Array(sizeOf(balance.range)).fill(0);
  const lane = laneOf(checksum.swap);
  for (const part of checksum.coverage) {
    if (part.kind === "literal") positions.length += part.bytes.length;
    if (part.kind === "table") positions.isLengthKnown = false;
    if (part.kind !== "range") continue;
    for (let at = balance.range.begin; at < balance.range.end; ++at) {
      const named = xorLane(at, lane);  // the address for which this byte is read
      if (part.memory !== balance.memory || named < part.range.begin || named >= part.range.end) continue;
      ++times[at - balance.range.begin];
      positions.at.push(positions.length + (named - part.range.begin));
      positions.isKnown &&= positions.isLengthKnown;
    }
    positions.length += sizeOf(part.range);
  }
  const mayBeInTable = hasTableInto(checksum, balance.memory);
  times.forEach((count, i) => {
    if (count === 1) return;
    positions.isKnown = false;
    if (count === 0 && mayBeInTable) return;
    throw contradiction(checksum, balance.node,
      `the balance's byte at ${addressText(balance.range.begin + i)} is read ${count} times`,
      "every byte of the balance read exactly once", "correct the balance, or the coverage");
  });
  positions.at.sort((a, b) => a - b);
  return positions;
}

// The sum's low bits that give what the rule asks for.
function wantedSum({ rule, add, bits, complement }) {
  const beforeAdd = (rule.equals - add) & lowMask(bits);
  if (complement === "ones") return onesComplement(beforeAdd, bits);
  return complement === "twos" ? twosComplement(beforeAdd, bits) : beforeAdd;
}

function judgeSumBalance(checksum, positions, size) {
  const { sum } = checksum.algorithm;
  const unit = sum.unit / 8;
  if (size !== unit) throw unsolvable(checksum, `a balance of ${size} bytes for words of ${unit}`, "a balance of one word");
  if (positions.isKnown && positions.at[0] % unit !== 0) {
    throw unsolvable(checksum, `a balance at byte ${positions.at[0]} of the message`,
      `a balance that is one whole word: at a multiple of ${unit}`);
  }
  // The balance is added zero-extended, so it moves the low `unit` bits to any value and those above to none.
  if (checksum.bits > sum.unit) {
    throw unsolvable(checksum, `a result of ${checksum.bits} bits and a balance of ${sum.unit}`, "no more bits kept than one word has");
  }
  if (sum.operation !== "add-end-around") return;
  // The carry folds at the accumulator's width, so only there does the low part alone decide.
  if (sum.accumulator !== sum.unit || checksum.bits !== sum.unit) {
    throw unsolvable(checksum,
      `a one's complement sum of ${sum.unit}-bit words, kept in ${sum.accumulator} bits and cut to ${checksum.bits}`,
      "accumulator and result as wide as the words");
  }
  // One's complement addition reaches zero from zeros alone: the sum of anything else ends at all ones.
  if (wantedSum(checksum) === 0n) {
    throw unsolvable(checksum, "a rule that needs the one's complement sum 0", "a rule that needs another sum, such as all ones");
  }
}

// Rank of the balance's effect on the bits kept.
function reachedBits(checksum, positions) {
  const crc = new Crc(checksum.algorithm.crc);
  const basis = [];
  for (const at of positions.at) {
    for (let bit = 0; bit < 8; ++bit) {
      let effect = crc.bitEffect(positions.length, at, bit) & lowMask(checksum.bits);
      for (const known of basis) {
        if ((effect ^ known) < effect) effect ^= known;
      }
      if (effect !== 0n) basis.push(effect);
    }
  }
  return basis.length;
}

function judgeCrcBalance(checksum, positions, size) {
  const { width } = checksum.algorithm.crc;
  if (8 * size < checksum.bits) {
    throw unsolvable(checksum, `a balance of ${8 * size} bits`, `at least the ${checksum.bits} bits kept`);
  }
  // As many adjacent bits as the CRC is wide reach every value, because the polynomial is odd. Fewer may still reach every
  // value of the bits kept; that depends on where they stand.
  if (8 * size >= width || !positions.isKnown || !positions.isLengthKnown) return;
  if (reachedBits(checksum, positions) === checksum.bits) return;
  throw unsolvable(checksum, `a balance of ${8 * size} bits that does not reach every value of the bits kept`,
    `a balance as wide as the CRC, ${width} bits`);
}

function judgeBalance(draft, checksum) {
  const { balance } = checksum.rule;
  const positions = findPositions(checksum);
  for (const place of checksum.substitutes) {
    if (place.memory !== balance.memory || !rangesOverlap(place.range, balance.range)) continue;
    throw contradiction(checksum, balance.node, `a balance at ${placeText(draft.map, balance)} that counts as a constant`,
      "a balance that no substitute touches", "correct the balance, or the substitute");
  }
  const size = sizeOf(balance.range);
  if (positions.isKnown && positions.at.at(-1) - positions.at[0] !== size - 1) {
    throw unsolvable(checksum, "a balance whose bytes stand apart in the message", "bytes that are read one after another");
  }
  const { kind, name } = checksum.algorithm;
  if (kind === "sum") judgeSumBalance(checksum, positions, size);
  else if (kind === "crc") judgeCrcBalance(checksum, positions, size);
  else throw unsolvable(checksum, `a balance for ${name}`, "a CRC or a sum: only these can be solved");
}

export function lintChecksums(draft) {
  for (const checksum of draft.map.checksums) {
    draft.checksumBytes += judgeCoverage(draft, checksum);
    if (draft.checksumBytes > CHECKSUM_READ_LIMIT) {
      throw contradiction(checksum, checksum.node, `${grouped(draft.checksumBytes)} bytes read by all checksums up to this one`,
        `at most ${grouped(CHECKSUM_READ_LIMIT)}`, "correct the coverage, or the repetition");
    }
    judgeSubstitutes(draft, checksum);
    if (checksum.rule?.balance) judgeBalance(draft, checksum);
  }
}
