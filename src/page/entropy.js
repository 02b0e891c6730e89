// How random bytes look.

const OPAQUE_BLOCK = 4096;
const OPAQUE_ENTROPY = 7.9;  // bits a byte; 4 KiB of random bytes: about 7.95

// Shannon entropy of the histogram, 0 to 8 bits a byte.
function entropyOf(bytes) {
  const counts = new Uint32Array(256);
  for (const byte of bytes) ++counts[byte];
  return counts.reduce((bits, count) => (count === 0 ? bits : bits - (count / bytes.length) * Math.log2(count / bytes.length)), 0);
}

// Most blocks of 4 KiB that are not blank look random: encrypted or compressed as a whole. At least four such blocks.
export function looksOpaque(bytes) {
  let random = 0;
  let others = 0;
  for (let at = 0; at + OPAQUE_BLOCK <= bytes.length; at += OPAQUE_BLOCK) {
    const bits = entropyOf(bytes.subarray(at, at + OPAQUE_BLOCK));
    if (bits > OPAQUE_ENTROPY) ++random;
    else if (bits > 0) ++others;
  }
  return random >= 4 && random >= 9 * others;
}
