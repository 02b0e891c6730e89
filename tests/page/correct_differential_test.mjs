// Small region maps drawn by chance, with images drawn by chance and partly unknown: what the page corrects, and what it says
// where it cannot, is what `calseal correct` writes and says. Whole maps of the fixtures too. Printed seed; CALSEAL_PAGE_CORRECT
// draws more.
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { test } from "node:test";

import "./platform.mjs";
import { correctChecks } from "../../src/page/correct.js";
import { recogniseFamily } from "../../src/page/identity.js";
import { writeIntelHex } from "../../src/page/intel_hex.js";
import { makePlan } from "../../src/page/plan.js";
import { loadRead, renderRead } from "../../src/page/read.js";
import { Refusal } from "../../src/page/reason.js";
import { readRegionMap } from "../../src/page/region_map.js";
import { writeSRecord } from "../../src/page/s_record.js";
import { readFixture, seededRandom } from "./support.mjs";

const CASES = Number(process.env.CALSEAL_PAGE_CORRECT ?? 600);
const folder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-page-correct-"));
process.on("exit", () => fs.rmSync(folder, { recursive: true, force: true }));

const ORIGIN = 0x80000000;
const SIZE = 256;
const addressOf = (offset) => `0x${(ORIGIN + offset).toString(16).padStart(8, "0")}`;

// Mostly algorithms that can be solved jointly, since circles are the harder part.
function drawAlgorithm(random) {
  const order = random.pick(["little", "big"]);
  return random.pick([
    { crc: random.pick(["CRC-32/ISO-HDLC", "CRC-16/IBM-3740", "CRC-8/SAE-J1850", "CRC-64/XZ", "CRC-16/KERMIT", "CRC-24/OPENPGP", "CRC-12/UMTS"]) },
    { crc: { width: 3 + random.below(62), poly: 1 + 2 * random.below(4), init: random.below(8), refin: random.below(2) === 1, refout: random.below(2) === 1, xorout: random.below(8) } },
    { sum: { unit: random.pick([8, 16, 32]), order, operation: "xor" } },
    { sum: { unit: random.pick([8, 16, 32, 64]), order, operation: "add", accumulator: random.pick([8, 16, 32, 48, 64]) } },
    { sum: { unit: 16, order, operation: "add-end-around" } },
    random.pick([{ fletcher: 16 }, { fletcher: 32, order }, { adler: 32 }, { sha: 256 }]),
  ]);
}

const CATALOGUE_WIDTHS = { "CRC-32/ISO-HDLC": 32, "CRC-16/IBM-3740": 16, "CRC-8/SAE-J1850": 8, "CRC-64/XZ": 64, "CRC-16/KERMIT": 16, "CRC-24/OPENPGP": 24, "CRC-12/UMTS": 12 };
const widthOf = ({ crc, sum, fletcher, adler, sha }) => crc?.width ?? CATALOGUE_WIDTHS[crc] ?? (sum && (sum.accumulator ?? sum.unit)) ?? fletcher ?? adler ?? sha;

// Where it stands mostly follows the rules of the format, so that most maps are good; the rest is for chance.
function drawChecksum(random, name, place) {
  const algorithm = drawAlgorithm(random);
  const width = widthOf(algorithm);
  const isDigest = algorithm.sha !== undefined;
  const checksum = { name, algorithm, coverage: [] };
  const hasRule = !isDigest && random.below(3) === 0;
  const range = (begin, end) => ({ memory: "flash", start: addressOf(begin), size: end - begin });
  if (hasRule) {
    const unit = algorithm.sum ? algorithm.sum.unit / 8 : random.pick([1, 2, 4, 8]);
    const begin = place - unit * random.below(Math.floor(place / unit) + 1);
    checksum.coverage.push(range(begin, place + unit + random.below(SIZE - place - unit)));
    checksum.rule = { equals: random.below(128), balance: { memory: "flash", at: addressOf(place), size: unit, order: "little" } };
    if (algorithm.crc !== undefined && random.below(2) === 0) checksum.rule.equals = "residue";
    else checksum.bits = Math.min(width, 8 * unit);
  } else {
    for (let i = 1 + random.below(3); i > 0; --i) {
      const begin = random.below(SIZE - 1);
      checksum.coverage.push(range(begin, begin + 1 + random.below(SIZE - begin)));
      if (random.below(6) === 0) checksum.coverage.push({ literal: "00ff17" });
    }
    const encoding = isDigest ? undefined : random.pick(["binary", "binary", "binary", "hex-lower", "hex-upper", "decimal"]);
    const slot = { memory: "flash", at: addressOf(place), size: random.pick([1, 2, 4, 8]) };
    const room = { "binary": 8 * slot.size, "decimal": Math.floor(slot.size * Math.log2(10)) }[encoding] ?? 4 * slot.size;
    if (!isDigest) {
      Object.assign(slot, { order: random.pick(["little", "big"]), encoding, transform: random.pick(["plain", "plain", "complement", "negate", "reverse"]) });
      checksum.bits = Math.min(width, room);
      if (random.below(4) === 0) checksum.complement = random.pick(["ones", "twos"]);
      if (random.below(8) === 0) checksum.add = 5;
    }
    checksum.slots = [slot];
    if (random.below(2) === 0) {
      const { start, size } = checksum.coverage[0];
      checksum.substitute = [{ memory: "flash", start: random.below(2) === 0 ? start : addressOf(place), size: Math.min(size, 1 + random.below(8)), as: "a5" }];
    }
  }
  if (random.below(4) === 0) checksum.swap = random.pick([16, 32]);
  return checksum;
}

function drawMap(random) {
  const map = { calseal: "region-map/1", name: "drawn", controller: "engine", version: 1,
    memories: [{ name: "flash", origin: addressOf(0), size: SIZE }], regions: [], checksums: [], copies: [],
    evidence: { author: "chance", verified_on: [], guesses: [], grade: "draft" } };
  if (random.below(2) === 0) map.regions.push({ name: "learned", memory: "flash", start: addressOf(192), size: 16, policy: "volatile" });
  // Places for slots and balances that do not share bytes.
  for (let i = 0; i < 1 + random.below(4); ++i) map.checksums.push(drawChecksum(random, `c${i}`, 16 * i + 4 * random.below(3)));
  for (let i = 0; i < random.below(3); ++i) {
    const transform = random.pick(["plain", "complement", "offset"]);
    map.copies.push({ name: `copy${i}`, memory: "flash", start: addressOf(96 + 24 * i), size: 16,
      of: { memory: "flash", start: addressOf(random.below(SIZE - 16)) }, transform, ...(transform === "offset" ? { offset: 7 } : {}) });
  }
  return map;
}

// A file for the memory: raw, or records that leave some bytes out.
function drawFile(random, map) {
  const bytes = random.bytes(SIZE);
  for (const { range, bytes: wanted } of map?.recognition.all ?? []) bytes.set(wanted, range.begin - ORIGIN);
  if (random.below(3) !== 0) return bytes;
  const cut = 1 + random.below(SIZE - 2);
  const end = random.below(2) === 0 ? SIZE : cut + random.below(SIZE - cut);
  const segments = [{ address: ORIGIN, bytes: bytes.subarray(0, cut) }];
  if (end < SIZE) segments.push({ address: ORIGIN + end, bytes: bytes.subarray(end) });
  const write = random.pick([writeIntelHex, writeSRecord]);
  return new TextEncoder().encode(write(cut === end ? [{ address: ORIGIN, bytes }] : segments));
}

// What is written, or the reason why nothing is.
async function askPage(mapText, files) {
  try {
    const map = readRegionMap(mapText, "map");
    const read = await loadRead(map, files.map(({ memory, bytes }, i) => ({ memory, name: `file ${i}`, bytes })));
    const plan = makePlan(map, read.image);
    recogniseFamily(map, read.image);
    await correctChecks(plan, read.image, false);
    return (await renderRead(map, read, read.image)).map(({ bytes }) => Buffer.from(bytes).toString("hex")).join(" ");
  } catch (fault) {
    return fault instanceof Refusal ? fault.code : fault.stack;
  }
}

function askProgram(mapText, files) {
  const at = (name) => path.join(folder, name);
  fs.writeFileSync(at("map.json"), mapText);
  files.forEach(({ bytes }, i) => fs.writeFileSync(at(`in${i}`), bytes));
  const named = (name) => files.map(({ memory }, i) => (memory === "" ? "" : `${memory}=`) + at(`${name}${i}`));
  const run = spawnSync(process.env.CALSEAL, ["correct", "--regions", at("map.json"), ...named("in"),
    ...named("out").flatMap((file) => ["--output", file]), "--json"], { encoding: "utf8" });
  assert.ok([0, 1].includes(run.status), run.stdout + run.stderr);
  if (run.status === 1) return JSON.parse(run.stdout).reason;
  return files.map((_, i) => fs.readFileSync(at(`out${i}`)).toString("hex")).join(" ");
}

const utf8Json = (value) => new TextEncoder().encode(JSON.stringify(value));
const outcome = (text) => (/^[0-9a-f ]*$/.test(text) ? "corrected" : text);

test("maps and images drawn by chance are corrected alike", async () => {
  const random = seededRandom("correct");
  const told = new Map();
  const wrong = [];
  for (let i = 0; i < CASES; ++i) {
    const mapText = utf8Json(drawMap(random));
    const files = [{ memory: "", bytes: drawFile(random) }];
    const expected = askProgram(mapText, files);
    const found = await askPage(mapText, files);
    told.set(outcome(expected), (told.get(outcome(expected)) ?? 0) + 1);
    if (found !== expected) wrong.push(`case ${i}: ${outcome(found)}, not ${outcome(expected)}; ${new TextDecoder().decode(mapText)}`);
  }
  console.log(`# CALSEAL_SEED=${random.seed}: ${[...told].sort((a, b) => b[1] - a[1]).map(([name, count]) => `${name} ${count}`).join(", ")}`);
  assert.ok((told.get("corrected") ?? 0) > CASES / 4, "too few cases say anything");
  assert.deepEqual(wrong.slice(0, 5), [], `CALSEAL_SEED=${random.seed}, ${wrong.length} of ${CASES}`);
});

test("the maps of the fixtures are corrected alike on images drawn by chance", async () => {
  const random = seededRandom("fixtures");
  for (const name of ["every-checksum.json", "rules.json"]) {
    const mapText = readFixture("region_maps", "good", name);
    for (let i = 0; i < 20; ++i) {
      const files = [{ memory: "", bytes: random.bytes(65536) }];
      assert.equal(await askPage(mapText, files), askProgram(mapText, files), `${name}, CALSEAL_SEED=${random.seed}`);
    }
  }
});
