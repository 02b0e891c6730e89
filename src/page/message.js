// What one checksum reads from one image, in the order it reads: coverage with tables looked up, substitutions and word swaps
// applied. The message's bytes are never copied as a whole.

import { addressText, grouped } from "./bytes.js";
import { Refusal } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { CHECKSUM_READ_LIMIT, laneOf, readAddresses, xorLane } from "./region_map_arithmetic.js";
import { comparePlaces, isEmptyRange, overlapping, placeText, sizeOf } from "./place.js";
import { knowsPlace, segmentsOf, viewAt, viewOf } from "./image.js";

const BLOCK_SIZE = 65536;  // bytes handed on at once
export const PIECE_LIMIT = 131072;  // of all checksums of a map

function readWord(bytes, order) {
  const [a, b, c, d] = order === "big" ? bytes : [...bytes].reverse();
  return ((a * 256 + b) * 256 + c) * 256 + d;
}

// The range that one record of a table names; nothing when it is blank and may be.
function readRecord(map, table, record, lane, exists, image) {
  const at = table.at + record * table.recordSize;
  const placeAt = (offset) => ({ memory: table.memory, range: { begin: at + offset, end: at + offset + 4 } });
  const [startPlace, endPlace] = [placeAt(table.startAt), placeAt(table.endAt)];
  const place = `${placeText(map, startPlace)} (record ${record})`;
  if (!knowsPlace(image, startPlace) || !knowsPlace(image, endPlace)) {
    throw new Refusal("read-incomplete", { place, found: "unknown bytes", expected: "a descriptor record that was read",
      next: "read the controller again, whole" });
  }
  const start = readWord(viewAt(image, startPlace), table.order);
  const second = readWord(viewAt(image, endPlace), table.order);
  if (table.skipBlank && start === 0xffffffff && second === 0xffffffff) return undefined;
  const end = { last: second + 1, after: second, length: start + second }[table.end];
  const range = { begin: start, end };
  if (end <= start || !exists.contains(range) || !readAddresses(range, lane).every((part) => exists.contains(part))) {
    const { name } = map.memories[table.pointsInto];
    throw new Refusal("descriptor-invalid", { place, found: `${addressText(start)} and ${addressText(second)}`,
      expected: `a range inside the existing parts of ${name}${lane === 0 ? "" : ", the partner of every byte included"}`,
      next: "check that region map and image belong together" });
  }
  return { memory: table.pointsInto, range };
}

// `pieces` are {kind, offset, size, ...}: "memory" with memory and address (the one named by the coverage; with a swap another
// byte is read), "literal" with bytes, "run" with the one byte `as`. `reads`: addresses whose bytes are taken, by memory.
export class Message {
  // `pieces` is how many it may have.
  constructor(map, checksum, image, pieces) {
    this.name = checksum.name;
    this.mostPieces = pieces;
    this.pieces = [];
    this.length = 0;
    this.lane = laneOf(checksum.swap);
    const taken = map.memories.map(() => []);
    // Substitutes as the addresses for which they are read.
    this.replaced = checksum.substitutes.flatMap(({ memory, range, as }) =>
      readAddresses(range, this.lane).map((named) => ({ memory, range: named, as }))).sort(comparePlaces);
    for (const part of checksum.coverage) {
      if (part.kind === "range") this.addMemory(part, taken);
      else if (part.kind === "literal") this.push({ kind: "literal", size: part.bytes.length, bytes: part.bytes });
      else this.addTable(map, checksum, part, image, taken);
    }
    this.reads = taken.map((ranges) => new RangeSet(ranges));
  }

  push(piece) {
    if (this.pieces.length === this.mostPieces) {
      throw new Refusal("descriptor-invalid", { place: this.name, found: `more than ${grouped(PIECE_LIMIT)} pieces read by all checksums up to this one`,
        expected: `at most ${grouped(PIECE_LIMIT)}`, next: "read fewer ranges, or cut them by fewer substitutes" });
    }
    piece.offset = this.length;
    this.pieces.push(piece);
    this.length += piece.size;
  }

  addTable(map, checksum, { table, own, record }, image, taken) {
    const exists = segmentsOf(map.memories[table.pointsInto]);
    const end = own ? record + 1 : table.records;
    for (let i = own ? record : 0; i < end; ++i) {
      const place = readRecord(map, table, i, this.lane, exists, image);
      if (place === undefined) continue;
      if (this.length > CHECKSUM_READ_LIMIT) {
        throw new Refusal("descriptor-invalid", { place: checksum.name, found: `more than ${grouped(CHECKSUM_READ_LIMIT)} bytes`,
          expected: "a coverage of sensible size", next: "check that region map and image belong together" });
      }
      this.addMemory(place, taken);
    }
  }

  addMemory({ memory, range }, taken) {
    const pushMemory = (part) => {
      if (isEmptyRange(part)) return;
      this.push({ kind: "memory", size: sizeOf(part), memory, address: part.begin });
      for (const read of readAddresses(part, this.lane)) taken[memory].push(read);
    };
    let begin = range.begin;
    for (const { range: replaced, as } of overlapping(this.replaced, { memory, range })) {
      const part = { begin: Math.max(begin, replaced.begin), end: Math.min(range.end, replaced.end) };
      pushMemory({ begin, end: part.begin });
      this.push({ kind: "run", size: sizeOf(part), as });
      begin = part.end;
    }
    pushMemory({ begin, end: range.end });
  }

  // The bytes in order, in blocks.
  *blocks(image) {
    for (const piece of this.pieces) {
      if (piece.kind === "literal") {
        yield piece.bytes;
      } else if (piece.kind === "memory" && this.lane === 0) {
        yield viewOf(image.memories[piece.memory], { begin: piece.address, end: piece.address + piece.size });
      } else {
        const block = new Uint8Array(Math.min(piece.size, BLOCK_SIZE));
        if (piece.kind === "run") block.fill(piece.as);
        for (let done = 0; done < piece.size; done += BLOCK_SIZE) {
          const part = block.subarray(0, Math.min(BLOCK_SIZE, piece.size - done));
          if (piece.kind === "memory") this.takeSwapped(image.memories[piece.memory], piece.address + done, part);
          yield part;
        }
      }
    }
  }

  takeSwapped({ bytes, extent }, address, part) {
    for (let i = 0; i < part.length; ++i) part[i] = bytes[xorLane(address + i, this.lane) - extent.begin];
  }

  // Calls take(offset, index) for every offset at which the message takes a byte of `named`, the last first. `named`: {memory, range,
  // index} of single bytes by the addresses for which they are read, sorted by place.
  walkBack(named, take) {
    for (let i = this.pieces.length - 1; i >= 0; --i) {
      const { kind, memory, address, size, offset } = this.pieces[i];
      if (kind !== "memory") continue;
      const inside = overlapping(named, { memory, range: { begin: address, end: address + size } });
      for (let k = inside.length - 1; k >= 0; --k) take(offset + (inside[k].range.begin - address), inside[k].index);
    }
  }

  // Every offset of the message at which the byte at `address` stands.
  offsetsOf(memory, address) {
    if (!this.reads[memory].has(address)) return [];
    const named = xorLane(address, this.lane);
    return this.pieces.filter((piece) => piece.kind === "memory" && piece.memory === memory && named >= piece.address &&
      named - piece.address < piece.size).map((piece) => piece.offset + (named - piece.address));
  }
}
