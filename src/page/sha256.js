// SHA-256 (FIPS 180-4) of bytes that come in blocks. What a checksum covers may be many times as long as the image, and the
// platform's digest wants all of it at once.

// The largest whole number whose power of this degree is at most `value`.
function integerRoot(value, degree) {
  let root = 0n;
  for (let bit = 1n << 40n; bit > 0n; bit >>= 1n) if ((root | bit) ** degree <= value) root |= bit;
  return root;
}

function firstPrimes(count) {
  const primes = [];
  for (let n = 2; primes.length < count; ++n) if (primes.every((prime) => n % prime !== 0)) primes.push(n);
  return primes;
}

// The first 32 bits behind the point of the roots of the first primes.
function rootFractions(count, degree) {
  return Int32Array.from(firstPrimes(count), (prime) => Number(BigInt.asIntN(32, integerRoot(BigInt(prime) << (32n * degree), degree))));
}

const START = rootFractions(8, 2n);
const ROUND = rootFractions(64, 3n);
const BLOCK = 64;

const turn = (word, by) => (word >>> by) | (word << (32 - by));

export class Sha256 {
  constructor() {
    this.state = START.slice();
    this.rest = new Uint8Array(BLOCK); // of a block that is not complete
    this.length = 0;
    this.words = new Int32Array(64);
  }

  update(bytes) {
    let at = 0;
    const held = this.length % BLOCK;
    this.length += bytes.length;
    if (held > 0) {
      at = Math.min(BLOCK - held, bytes.length);
      this.rest.set(bytes.subarray(0, at), held);
      if (held + at < BLOCK) return;
      this.take(this.rest, 0);
    }
    for (; at + BLOCK <= bytes.length; at += BLOCK) this.take(bytes, at);
    this.rest.set(bytes.subarray(at));
  }

  take(bytes, at) {
    const { state, words } = this;
    for (let i = 0; i < 16; ++i, at += 4) words[i] = (bytes[at] << 24) | (bytes[at + 1] << 16) | (bytes[at + 2] << 8) | bytes[at + 3];
    for (let i = 16; i < 64; ++i) {
      const early = words[i - 15];
      const late = words[i - 2];
      const small0 = turn(early, 7) ^ turn(early, 18) ^ (early >>> 3);
      const small1 = turn(late, 17) ^ turn(late, 19) ^ (late >>> 10);
      words[i] = (words[i - 16] + small0 + words[i - 7] + small1) | 0;
    }
    let [a, b, c, d, e, f, g, h] = state;
    for (let i = 0; i < 64; ++i) {
      const large1 = turn(e, 6) ^ turn(e, 11) ^ turn(e, 25);
      const first = (h + large1 + ((e & f) ^ (~e & g)) + ROUND[i] + words[i]) | 0;
      const large0 = turn(a, 2) ^ turn(a, 13) ^ turn(a, 22);
      const second = (large0 + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      h = g;
      g = f;
      f = e;
      e = (d + first) | 0;
      d = c;
      c = b;
      b = a;
      a = (first + second) | 0;
    }
    state[0] += a;
    state[1] += b;
    state[2] += c;
    state[3] += d;
    state[4] += e;
    state[5] += f;
    state[6] += g;
    state[7] += h;
  }

  // The 32 bytes of the digest; nothing can be added afterwards.
  value() {
    const bits = BigInt(this.length) * 8n;
    const padding = new Uint8Array(BLOCK + 8 - ((this.length + 8) % BLOCK));
    padding[0] = 0x80;
    new DataView(padding.buffer).setBigUint64(padding.length - 8, bits);
    this.update(padding);
    const out = new DataView(new ArrayBuffer(32));
    this.state.forEach((word, i) => out.setInt32(4 * i, word));
    return new Uint8Array(out.buffer);
  }
}
