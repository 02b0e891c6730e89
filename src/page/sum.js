// Additive checks: sums of words, exclusive or, Fletcher, Adler-32. Values are BigInt.

// 2^bits - 1, bits from 0 to 64.
export function lowMask(bits) {
  return (1n << BigInt(bits)) - 1n;
}

export function onesComplement(value, bits) {
  return ~value & lowMask(bits);
}

export function twosComplement(value, bits) {
  return -value & lowMask(bits);
}

// The fault in the parameters as {found, expected}, or nothing.
export function sumFault({unit, accumulator, operation, init}) {
  if (![8, 16, 32, 64].includes(unit)) return {found: `unit ${unit}`, expected: "8, 16, 32 or 64 bits"};
  if (accumulator < 8 || accumulator > 64) return {found: `accumulator ${accumulator}`, expected: "8 to 64 bits"};
  if (operation === "xor" && accumulator < unit) {
    return {found: `accumulator ${accumulator}`, expected: `at least the ${unit} bits of the words`};
  }
  if (init > lowMask(accumulator)) {
    return {found: `init 0x${init.toString(16)}`, expected: `at most 0x${lowMask(accumulator).toString(16)}`};
  }
  return undefined;
}

// A sum of equal words: {unit, order, operation, accumulator, init}. All that it needs are the sums (or exclusive ors)
// of the bytes at every offset modulo 8; a last partial word counts as if followed by bytes 00.
export class Sum {
  constructor(parameters) {
    this.parameters = parameters;
    this.places = new Float64Array(8);  // of at most 2^32 bytes, so exact
    this.offset = 0;
  }

  update(bytes) {
    const {places} = this;
    const isXor = this.parameters.operation === "xor";
    let i = 0;
    const one = () => {
      const place = this.offset % 8;
      places[place] = isXor ? places[place] ^ bytes[i] : places[place] + bytes[i];
      ++this.offset;
      ++i;
    };
    while (i < bytes.length && this.offset % 8 !== 0) one();
    const whole = bytes.length - ((bytes.length - i) % 8);
    this.offset += whole - i;
    let [a, b, c, d, e, f, g, h] = places;
    if (isXor) {
      for (; i < whole; i += 8) {
        a ^= bytes[i], b ^= bytes[i + 1], c ^= bytes[i + 2], d ^= bytes[i + 3];
        e ^= bytes[i + 4], f ^= bytes[i + 5], g ^= bytes[i + 6], h ^= bytes[i + 7];
      }
    } else {
      for (; i < whole; i += 8) {
        a += bytes[i], b += bytes[i + 1], c += bytes[i + 2], d += bytes[i + 3];
        e += bytes[i + 4], f += bytes[i + 5], g += bytes[i + 6], h += bytes[i + 7];
      }
    }
    places.set([a, b, c, d, e, f, g, h]);
    while (i < bytes.length) one();
  }

  value() {
    const {unit, order, operation, accumulator, init} = this.parameters;
    const size = unit / 8;
    let total = init;
    this.places.forEach((sum, i) => {
      const place = i % size;
      const weighted = BigInt(sum) << BigInt(8 * (order === "little" ? place : size - 1 - place));
      total = operation === "xor" ? total ^ weighted : total + weighted;
    });
    const most = lowMask(accumulator);
    if (operation !== "add-end-around") return total & most;
    // Carries added in again (RFC 1071): arithmetic modulo 2^n - 1 in which only the sum of zeros is 0.
    return total === 0n ? 0n : ((total - 1n) % most) + 1n;
  }
}

const SUM_RUN = 4096;  // words between two reductions: sums stay far below 2^53

// Fletcher's checksum (RFC 1146 appendix I) over bytes (16) or 16-bit words (32); the second sum stands in the upper half.
export class Fletcher {
  constructor(width, order) {
    this.width = width;
    this.order = order;
    this.sums = [0, 0];
    this.half = undefined;  // the first byte of an unfinished word
  }

  update(bytes) {
    if (this.width === 16) {
      this.addWords(bytes.length, 255, (i) => bytes[i]);
      return;
    }
    if (bytes.length === 0) return;
    if (this.half !== undefined) {
      const word = this.wordOf(this.half, bytes[0]);
      this.half = undefined;
      this.addWords(1, 65535, () => word);
      bytes = bytes.subarray(1);
    }
    const words = bytes.length >> 1;
    if (this.order === "little") this.addWords(words, 65535, (i) => bytes[2 * i] | (bytes[2 * i + 1] << 8));
    else this.addWords(words, 65535, (i) => (bytes[2 * i] << 8) | bytes[2 * i + 1]);
    if (bytes.length % 2 === 1) this.half = bytes[bytes.length - 1];
  }

  wordOf(first, second) {
    return this.order === "little" ? first | (second << 8) : (first << 8) | second;
  }

  addWords(count, modulus, word) {
    let [sum1, sum2] = this.sums;
    for (let i = 0; i < count;) {
      for (const end = Math.min(count, i + SUM_RUN); i < end; ++i) {
        sum1 += word(i);
        sum2 += sum1;
      }
      sum1 %= modulus;
      sum2 %= modulus;
    }
    this.sums = [sum1, sum2];
  }

  value() {
    let [sum1, sum2] = this.sums;
    if (this.half !== undefined) {
      sum1 = (sum1 + this.wordOf(this.half, 0)) % 65535;
      sum2 = (sum2 + sum1) % 65535;
    }
    return (BigInt(sum2) << BigInt(this.width / 2)) | BigInt(sum1);
  }
}

// Adler-32 (RFC 1950, section 8.2).
export class Adler {
  constructor() {
    this.sums = [1, 0];
  }

  update(bytes) {
    let [sum1, sum2] = this.sums;
    for (let i = 0; i < bytes.length;) {
      for (const end = Math.min(bytes.length, i + SUM_RUN); i < end; ++i) {
        sum1 += bytes[i];
        sum2 += sum1;
      }
      sum1 %= 65521;
      sum2 %= 65521;
    }
    this.sums = [sum1, sum2];
  }

  value() {
    return (BigInt(this.sums[1]) << 16n) | BigInt(this.sums[0]);
  }
}
