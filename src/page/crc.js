// Cyclic redundancy checks of 3 to 64 bits from their parameters (the Rocksoft model: Williams, "A painless guide to CRC
// error detection algorithms", 1993, section 15). Values are BigInt; the loop over bytes works on 32-bit halves.
//
// Parameters: {width, poly, init, refin, refout, xorout}; width a number, the rest BigInt and booleans.

import { lowMask } from "./sum.js";

function reflectBits(value, width) {
  let out = 0n;
  for (let i = 0; i < width; ++i) {
    out = (out << 1n) | (value & 1n);
    value >>= 1n;
  }
  return out;
}

const KEPT = 64;
const kept = new Map();

// The CRC of these parameters. Making one takes longer than many a coverage: the last few that were made are kept, and no more,
// however many a region map names.
export function crcOf(parameters) {
  const key = Object.values(parameters).join();
  if (!kept.has(key)) {
    if (kept.size === KEPT) kept.delete(kept.keys().next().value);
    kept.set(key, new Crc(parameters));
  }
  return kept.get(key);
}

const low32 = (value) => Number(value & 0xffffffffn) | 0;

// The fault in the parameters as {found, expected}, or nothing.
export function crcFault({width, poly, init, xorout}) {
  if (width < 3 || width > 64) return {found: String(width), expected: "3 to 64 bits"};
  const most = lowMask(width);
  for (const [name, value] of [["poly", poly], ["init", init], ["xorout", xorout]]) {
    if (value > most) return {found: `${name} 0x${value.toString(16)}`, expected: `at most 0x${most.toString(16)}`};
  }
  if ((poly & 1n) === 0n) return {found: `poly 0x${poly.toString(16)}`, expected: "an odd number, top term left out"};
  return undefined;
}

// The state is the register reflected and right-aligned when refin, otherwise left-aligned in 32 or 64 bits, so that
// one loop serves every width.
export class Crc {
  constructor(parameters) {
    this.parameters = parameters;
    const {width, refin} = parameters;
    this.mask = lowMask(width);
    this.size = width <= 32 ? 32 : 64;
    this.shift = refin ? 0n : BigInt(this.size - width);
    this.fillTables();
    this.powers = [];  // [k]: x^(8 * 2^k) modulo the polynomial
  }

  fillTables() {
    const {poly, refin} = this.parameters;
    const statePoly = this.toState(poly);
    const polyHigh = low32(statePoly >> 32n);
    const polyLow = low32(statePoly);
    this.high = new Int32Array(256);
    this.low = new Int32Array(256);
    const wide = this.size === 64;
    for (let byte = 0; byte < 256; ++byte) {
      let high = refin || !wide ? 0 : byte << 24;
      let low = refin ? byte : wide ? 0 : byte << 24;
      for (let bit = 0; bit < 8; ++bit) {
        if (refin) {
          const out = low & 1;
          low = (low >>> 1) | (high << 31);
          high >>>= 1;
          if (out) {
            low ^= polyLow;
            high ^= polyHigh;
          }
        } else {
          const out = (wide ? high : low) < 0;
          if (wide) high = (high << 1) | (low >>> 31);
          low <<= 1;
          if (out) {
            low ^= polyLow;
            high ^= polyHigh;
          }
        }
      }
      this.high[byte] = high;
      this.low[byte] = low;
    }
  }

  toState(polynomial) {
    const {width, refin} = this.parameters;
    return refin ? reflectBits(polynomial, width) : polynomial << this.shift;
  }

  start() {
    return this.toState(this.parameters.init);
  }

  // Splitting the bytes anywhere gives the same value.
  update(state, bytes) {
    const {high: tableHigh, low: tableLow} = this;
    let low = low32(state);
    if (this.size === 32) {
      if (this.parameters.refin) {
        for (let i = 0; i < bytes.length; ++i) low = (low >>> 8) ^ tableLow[(low ^ bytes[i]) & 0xff];
      } else {
        for (let i = 0; i < bytes.length; ++i) low = (low << 8) ^ tableLow[(low >>> 24) ^ bytes[i]];
      }
      return BigInt(low >>> 0);
    }
    let high = low32(state >> 32n);
    if (this.parameters.refin) {
      for (let i = 0; i < bytes.length; ++i) {
        const at = (low ^ bytes[i]) & 0xff;
        low = ((low >>> 8) | (high << 24)) ^ tableLow[at];
        high = (high >>> 8) ^ tableHigh[at];
      }
    } else {
      for (let i = 0; i < bytes.length; ++i) {
        const at = (high >>> 24) ^ bytes[i];
        high = ((high << 8) | (low >>> 24)) ^ tableHigh[at];
        low = (low << 8) ^ tableLow[at];
      }
    }
    return (BigInt(high >>> 0) << 32n) | BigInt(low >>> 0);
  }

  finish(state) {
    const {width, refin, refout, xorout} = this.parameters;
    const value = state >> this.shift;
    return (refin !== refout ? reflectBits(value, width) : value) ^ xorout;
  }

  compute(bytes) {
    return this.finish(this.update(this.start(), bytes));
  }

  // a * b modulo the polynomial; the coefficient of x^i stands in bit i.
  multiply(a, b) {
    const {width, poly} = this.parameters;
    const top = 1n << BigInt(width);
    let product = 0n;
    for (let bit = 1n << BigInt(width - 1); bit !== 0n; bit >>= 1n) {
      product <<= 1n;
      if ((product & top) !== 0n) product = (product & this.mask) ^ poly;
      if ((b & bit) !== 0n) product ^= a;
    }
    return product;
  }

  // x^(8 * bytes) modulo the polynomial: what `bytes` bytes of 00 do to a register.
  power(bytes) {
    if (this.powers.length === 0) {
      let eight = 1n;
      for (let i = 0; i < 8; ++i) eight = this.multiply(eight, 2n & this.mask);
      this.powers.push(eight);
    }
    let power = 1n;
    for (let k = 0; bytes > 0; ++k) {
      if (k === this.powers.length) this.powers.push(this.multiply(this.powers[k - 1], this.powers[k - 1]));
      if (bytes % 2 === 1) power = this.multiply(power, this.powers[k]);
      bytes = Math.floor(bytes / 2);
    }
    return power;
  }

  // What flipping one bit of the byte at `offset` of a message of `length` bytes changes in the value.
  bitEffect(length, offset, bit) {
    const {width, refin, refout} = this.parameters;
    const state = this.update(0n, Uint8Array.of(1 << bit));
    const polynomial = refin ? reflectBits(state, width) : state >> this.shift;
    const effect = this.multiply(this.power(length - offset - 1), polynomial);
    return refout ? reflectBits(effect, width) : effect;
  }

  // The same for bytes that each stand at many offsets: [index] the effects of the bits of byte `index`, lowest first. `walk(take)`
  // calls take(offset, index) for every byte and offset, the last offset first. Linear in the length of the message.
  byteEffects(length, count, walk) {
    const sums = { high: new Int32Array(count), low: new Int32Array(count) }; // of x^(8 * (length - 1 - offset)), as states
    const power = this.toState(1n);
    let high = low32(power >> 32n);
    let low = low32(power);
    let at = length - 1;
    walk((offset, index) => {
      for (; at > offset; --at) [high, low] = this.afterZero(high, low);
      sums.high[index] ^= high;
      sums.low[index] ^= low;
    });
    return Array.from({ length: count }, (_, i) => this.effectsOf((BigInt(sums.high[i] >>> 0) << 32n) | BigInt(sums.low[i] >>> 0)));
  }

  // The state after one more byte 00.
  afterZero(high, low) {
    if (this.parameters.refin) return [(high >>> 8) ^ this.high[low & 0xff], ((low >>> 8) | (high << 24)) ^ this.low[low & 0xff]];
    if (this.size === 32) return [0, (low << 8) ^ this.low[low >>> 24]];
    return [((high << 8) | (low >>> 24)) ^ this.high[high >>> 24], (low << 8) ^ this.low[high >>> 24]];
  }

  effectsOf(sum) {
    const {width, refin, refout} = this.parameters;
    const polynomialOf = (state) => (refin ? reflectBits(state, width) : state >> this.shift);
    const effects = [];
    for (let i = 0; i < 8; ++i) {
      const bit = refin ? 7 - i : i; // each is x times the one before
      const before = effects[refin ? bit + 1 : bit - 1];
      effects[bit] = i === 0 ? this.multiply(polynomialOf(sum), polynomialOf(this.update(0n, Uint8Array.of(1 << bit)))) : this.multiply(before, 2n);
    }
    return refout ? effects.map((effect) => reflectBits(effect, width)) : effects;
  }

  // What an error-free codeword leaves before xorout: the appended CRC cancels the register but for xorout, then
  // shifted by x^width, which is poly modulo the polynomial.
  residue() {
    const {width, refout, xorout, poly} = this.parameters;
    const polynomial = this.multiply(refout ? reflectBits(xorout, width) : xorout, poly);
    return refout ? reflectBits(polynomial, width) : polynomial;
  }
}
