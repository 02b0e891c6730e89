// The page's checks against published values: fixtures/vectors, whose files name their sources.
import assert from "node:assert/strict";
import { createHash } from "node:crypto";
import { test } from "node:test";

import { Crc, crcFault, crcOf } from "../../src/page/crc.js";
import { findCrc } from "../../src/page/crc_catalogue.js";
import { Adler, Fletcher, Sum, onesComplement, sumFault, twosComplement } from "../../src/page/sum.js";
import { fromHex } from "../../src/page/bytes.js";
import { Sha256 } from "../../src/page/sha256.js";
import { readVectors, seededRandom } from "./support.mjs";

const DIGITS = new TextEncoder().encode("123456789");

test("every CRC of the catalogue gives its check value and residue, by name and by alias", () => {
  const { algorithms } = readVectors("crc_catalogue");
  assert.ok(algorithms.length > 100);
  for (const entry of algorithms) {
    const found = findCrc(entry.name);
    assert.equal(found.name, entry.name);
    for (const key of ["poly", "init", "xorout"]) assert.equal(found[key], BigInt(entry[key]), `${entry.name} ${key}`);
    for (const key of ["width", "refin", "refout"]) assert.equal(found[key], entry[key], `${entry.name} ${key}`);
    for (const alias of entry.aliases) {
      const ambiguous = ["CRC-8", "CRC-16/CCITT", "CRC-24", "CRC-32", "CRC-CCITT"].includes(alias) ||
        algorithms.filter((a) => a.name === alias || a.aliases.includes(alias)).length > 1;
      assert.equal(findCrc(alias)?.name, ambiguous ? undefined : entry.name, alias);
    }
    if (entry.width > 64) {
      assert.ok(crcFault(found));
      continue;
    }
    assert.equal(crcFault(found), undefined);
    const crc = new Crc(found);
    assert.equal(crc.compute(DIGITS), BigInt(entry.check), entry.name);
    assert.equal(crc.residue(), BigInt(entry.residue), entry.name);
    assert.equal(crc.compute(new Uint8Array()), BigInt(entry.derived.empty), entry.name);
    assert.equal(crc.compute(Uint8Array.of(0)), BigInt(entry.derived.one_zero_byte), entry.name);
    assert.equal(crc.compute(Uint8Array.from({ length: 256 }, (_, i) => i)), BigInt(entry.derived.bytes_00_to_ff));
  }
});

test("messages of the AUTOSAR tables", () => {
  for (const row of readVectors("crc_messages").rows) {
    assert.equal(new Crc(findCrc(row.algorithm)).compute(fromHex(row.hex)), BigInt(row.crc), row.algorithm);
  }
});

test("a CRC is the same however the message is cut, and a flipped bit changes it by its effect", () => {
  const random = seededRandom("crc pieces");
  for (const { width, poly, init, refin, refout, xorout } of readVectors("crc_catalogue").algorithms) {
    if (width > 64) continue;
    const crc = new Crc({ width, poly: BigInt(poly), init: BigInt(init), refin, refout, xorout: BigInt(xorout) });
    const message = random.bytes(1 + random.below(64));
    const whole = crc.compute(message);
    const cut = random.below(message.length + 1);
    const state = crc.update(crc.update(crc.start(), message.subarray(0, cut)), message.subarray(cut));
    assert.equal(crc.finish(state), whole);
    const at = random.below(message.length);
    const bit = random.below(8);
    const flipped = message.slice();
    flipped[at] ^= 1 << bit;
    assert.equal(crc.compute(flipped) ^ whole, crc.bitEffect(message.length, at, bit), `seed ${random.seed}`);
  }
});

test("sums, Fletcher and Adler give their published values", () => {
  for (const row of readVectors("sums").rows) {
    const parameters = { ...row, init: BigInt(row.init ?? 0) };
    assert.equal(sumFault(parameters), undefined);
    const sum = new Sum(parameters);
    sum.update(fromHex(row.hex));
    assert.equal(sum.value(), BigInt(row.sum), JSON.stringify(row));
    assert.equal(onesComplement(sum.value(), row.accumulator), BigInt(row.ones_complement));
    assert.equal(twosComplement(sum.value(), row.accumulator), BigInt(row.twos_complement));
  }
  for (const row of readVectors("fletcher").rows) {
    for (const [width, order, value] of [[16, "little", row.fletcher16], [32, "little", row.fletcher32]]) {
      const fletcher = new Fletcher(width, order);
      fletcher.update(fromHex(row.hex));
      assert.equal(fletcher.value(), BigInt(value), row.hex);
    }
  }
  for (const row of readVectors("adler32").rows) {
    const adler = new Adler();
    for (let i = 0; i < row.repeat; ++i) adler.update(fromHex(row.hex));
    assert.equal(adler.value(), BigInt(row.adler32), row.hex);
  }
});

// Word by word, from the definitions.
function plainSum({ unit, order, operation, accumulator, init }, bytes) {
  const size = unit / 8;
  const mask = (1n << BigInt(accumulator)) - 1n;
  let value = init;
  for (let at = 0; at < bytes.length; at += size) {
    let word = 0n;
    for (let i = 0; i < size; ++i) {
      const byte = BigInt(bytes[at + i] ?? 0);
      word |= byte << BigInt(8 * (order === "little" ? i : size - 1 - i));
    }
    if (operation === "xor") value ^= word;
    else if (operation === "add") value = (value + word) & mask;
    else for (value += word; value > mask;) value = (value & mask) + (value >> BigInt(accumulator));
  }
  return value;
}

function plainFletcher(width, order, bytes) {
  const size = width / 16;
  const modulus = width === 16 ? 255 : 65535;
  let [sum1, sum2] = [0, 0];
  for (let at = 0; at < bytes.length; at += size) {
    const [a, b] = [bytes[at], bytes[at + 1] ?? 0];
    sum1 = (sum1 + (size === 1 ? a : order === "little" ? a + 256 * b : 256 * a + b)) % modulus;
    sum2 = (sum2 + sum1) % modulus;
  }
  return (BigInt(sum2) << BigInt(width / 2)) | BigInt(sum1);
}

test("sums in pieces agree with the definitions, word by word", () => {
  const random = seededRandom("sums");
  const feed = (check, bytes) => {
    for (let at = 0; at < bytes.length;) {
      const size = 1 + random.below(11);
      check.update(bytes.subarray(at, at + size));
      at += size;
    }
    return check.value();
  };
  for (let round = 0; round < 3000; ++round) {
    const unit = random.pick([8, 16, 32, 64]);
    const operation = random.pick(["add", "add-end-around", "xor"]);
    const accumulator = operation === "xor" ? Math.max(unit, 8 + random.below(57)) : 8 + random.below(57);
    const init = random.below(2) === 0 ? 0n : random.big() & ((1n << BigInt(accumulator)) - 1n);
    const parameters = { unit, order: random.pick(["little", "big"]), operation, accumulator, init };
    const bytes = random.pick([random.bytes(random.below(60)), new Uint8Array(random.below(20)).fill(0xff), new Uint8Array(9)]);
    assert.equal(feed(new Sum(parameters), bytes), plainSum(parameters, bytes), `seed ${random.seed} round ${round}`);
    const width = random.pick([16, 32]);
    assert.equal(feed(new Fletcher(width, parameters.order), bytes), plainFletcher(width, parameters.order, bytes));
  }
});

test("SHA-256 of bytes in blocks is that of the platform, however they are cut", () => {
  const random = seededRandom("sha blocks");
  for (let size = 0; size < 400; ++size) {
    const message = random.bytes(size);
    const digest = new Sha256();
    for (let at = 0; at < size;) {
      const next = Math.min(size, at + 1 + random.below(150));
      digest.update(message.subarray(at, next));
      at = next;
    }
    assert.deepEqual(Buffer.from(digest.value()), createHash("sha256").update(message).digest(), `${size} bytes, seed ${random.seed}`);
  }
});

test("no more than 64 CRCs are kept, and each is the right one", () => {
  const parameters = (i) => ({ width: 32, poly: BigInt(2 * i + 1), init: 0n, refin: false, refout: false, xorout: 0n });
  const kept = Array.from({ length: 65 }, (_, i) => crcOf(parameters(i)));
  assert.equal(crcOf(parameters(64)), kept[64]);
  assert.notEqual(crcOf(parameters(0)), kept[0]);
  kept.forEach((crc, i) => assert.equal(crcOf(parameters(i)).compute(DIGITS), new Crc(parameters(i)).compute(DIGITS), `${i}`));
});
