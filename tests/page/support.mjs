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

// `lines` with what a hunk takes out, which stands there once, replaced by what it puts in.
function patched(lines, patch, name) {
  let text = `\n${lines.map((line) => `${line}\n`).join("")}`;
  for (const hunk of patch.join("\n").split("\n@@\n")) {
    const side = (unwanted) => hunk.split("\n").filter((line) => line[0] !== unwanted).map((line) => `\n${line.slice(1)}`).join("");
    const parts = text.split(`${side("+")}\n`);
    if (parts.length !== 2) throw new Error(`bad.txt: ${name}: a hunk that does not fit`);
    text = parts.join(`${side("-")}\n`);
  }
  return text.slice(1);
}

// The rows of fixtures/region_maps/bad.txt, whose README says how it is written: name, text, reason and place.
export function badMaps() {
  const bases = { nothing: [] };
  const rows = [];
  for (const section of new TextDecoder().decode(readFixture("region_maps", "bad.txt")).split(/^=== /m).slice(1)) {
    const [head, ...body] = section.trimEnd().split("\n");
    const [name, base] = head.split(" of ");
    if (base === undefined) {
      bases[name.slice("base ".length)] = body;
    } else {
      const [, reason, place] = /^\[(.*)\] (.*)$/.exec(body[0]);
      rows.push({ name, reason, place, text: new TextEncoder().encode(patched(bases[base], body.slice(2), name)) });
    }
  }
  return rows;
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
