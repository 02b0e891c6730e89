// What the page's tests share: the fixtures, and chance that can be given back.
import fs from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";

export const PROJECT = path.dirname(path.dirname(path.dirname(fileURLToPath(import.meta.url))));

export function readFixture(...names) {
  return new Uint8Array(fs.readFileSync(path.join(PROJECT, "fixtures", ...names)));
}

export function readFixtureJson(...names) {
  return JSON.parse(new TextDecoder().decode(readFixture(...names)));
}

export function readVectors(name) {
  return readFixtureJson("vectors", `${name}.json`);
}

export function listFixtures(...names) {
  return fs.readdirSync(path.join(PROJECT, "fixtures", ...names)).sort();
}

// SplitMix32 from CALSEAL_SEED, or from the clock; print `seed` when something fails.
export function seededRandom(salt) {
  const seed = Number(process.env.CALSEAL_SEED ?? Date.now() % 2 ** 31);
  let state = [...salt].reduce((sum, c) => (sum * 31 + c.charCodeAt(0)) | 0, seed);
  const next = () => {
    state = (state + 0x9e3779b9) | 0;
    let z = state ^ (state >>> 16);
    z = Math.imul(z, 0x21f0aaad);
    z ^= z >>> 15;
    z = Math.imul(z, 0x735a2d97);
    return (z ^ (z >>> 15)) >>> 0;
  };
  const below = (limit) => next() % limit;
  return {
    seed,
    below,
    pick: (list) => list[below(list.length)],
    bytes: (size) => Uint8Array.from({ length: size }, () => next() & 0xff),
    big: () => (BigInt(next()) << 32n) | BigInt(next()),
  };
}
