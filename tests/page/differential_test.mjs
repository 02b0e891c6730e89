// The page's core and calseal-check on the same damaged files: the same verdict, reason, steps, cautions, evidence, images
// and state. Printed seed; CALSEAL_PAGE_CASES draws more.
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { test } from "node:test";

import "./platform.mjs";
import { checkBundle } from "../../src/page/check.js";
import { copyOf, damage, poolOf } from "./damages.mjs";
import { demoSituations } from "./demo.mjs";
import { sha256Hex } from "./forge.mjs";
import { allSituations } from "./scenarios.mjs";
import { seededRandom } from "./support.mjs";

const CHECKER = process.env.CALSEAL_CHECK;
const CASES = Number(process.env.CALSEAL_PAGE_CASES ?? 600);
const DEMO_CASES = Math.ceil(CASES / 10); // 4 MiB each
const folder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-page-"));
const demoFolder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-page-demo-"));
process.on("exit", () => [folder, demoFolder].forEach((one) => fs.rmSync(one, { recursive: true, force: true })));

const clock = () => new Date().toISOString().replace(/\.\d+Z$/, "Z");

const prefixOf = ({ memory }) => (memory === "" ? "" : `${memory}=`);

// Files of a situation as they lie in the folder: [option, path], and the same as the page gets them.
function layOut({ files, flags }) {
  for (const name of fs.readdirSync(folder)) fs.rmSync(path.join(folder, name));
  const put = (name, bytes) => {
    const at = path.join(folder, name);
    fs.writeFileSync(at, bytes);
    return at;
  };
  const one = (name, file) => (file === null ? null : { name: put(name, file.bytes), bytes: new Uint8Array(file.bytes) });
  const each = (name, list) => list.map((file, i) => one(`${name}-${i}`, file));
  const request = {
    bundle: one("bundle.calseal", files.bundle),
    trust: one("shop.trust", files.trust),
    successions: each("succession", files.successions),
    reads: files.reads.map((file, i) => ({ memory: file.memory, ...one(`read-${i}`, file) })),
    partners: each("partner", files.partners),
    withdrawals: one("withdrawals", files.withdrawals),
    jobList: one("job-list", files.jobList),
    inclusion: one("inclusion", files.inclusion),
    newest: one("newest", files.newest),
    state: one("state", files.state),
    statedRoot: flags.root,
    revive: flags.revive,
    sealOnly: flags.sealOnly,
    declaredReturn: flags.declaredReturn,
    evidence: { readIsFresh: flags.fresh, salt: null, vehicleReference: flags.vehicle },
    salt: one("job.salt", files.salt),
  };
  const named = (option, file) => (file === null ? [] : [option, file.name]);
  // A state that is not there yet is one without bytes, and the other way round.
  if (request.state?.bytes.length === 0) fs.rmSync(request.state.name);
  const options = [
    request.bundle.name,
    ...named("--trust", request.trust),
    ...request.successions.flatMap((file) => named("--succession", file)),
    ...request.reads.flatMap((file) => ["--read", `${prefixOf(file)}${file.name}`]),
    ...request.partners.flatMap((file) => named("--partner", file)),
    ...named("--withdrawals", request.withdrawals),
    ...named("--job-list", request.jobList),
    ...named("--inclusion", request.inclusion),
    ...named("--newest", request.newest),
    ...named("--state", request.state),
    ...named("--salt", request.salt),
    ...(flags.root === "" ? [] : ["--root", flags.root]),
    ...(flags.vehicle === "" ? [] : ["--vehicle", flags.vehicle]),
    ...(flags.fresh ? ["--read-is-fresh"] : []),
    ...(flags.revive ? ["--revive"] : []),
    ...(flags.declaredReturn ? ["--return"] : []),
    ...(flags.sealOnly ? ["--seal-only"] : request.reads.flatMap((file, i) => ["--image", `${prefixOf(file)}${path.join(folder, `image-${i}`)}`])),
  ];
  return { options, request };
}

// The time of the last acceptance is the clock's, which two programs cannot share to the second.
function withoutTime(text) {
  return text.split("\n")[0].replace(/"last_time":"[^"]*"/, "");
}

function askChecker({ options, request }) {
  const run = spawnSync(CHECKER, [...options, "--json"], { encoding: "utf8", maxBuffer: 2 ** 26 });
  assert.equal(run.signal, null, run.stderr);
  const told = JSON.parse(run.stdout);
  // Refused before anything was judged: an empty file, a file that is too large, a salt that is none.
  if (told.calseal === "error/1") return { verdict: "refused", reason: told.reason };
  const state = request.state === null || !fs.existsSync(request.state.name) ? "" : withoutTime(fs.readFileSync(request.state.name, "utf8"));
  return summary({ ...told, codes: told.cautions.map(({ code }) => code), members: told.set.members, between: told.set.drivable_between_writes, state });
}

function summary({ verdict, reason, steps, evidence, codes, passage, vehicle_proof: vehicle, editable_share: share, bytes_to_change: change, files, members, between, state }) {
  const common = { verdict, reason, steps: steps.map(({ name, state: how }) => `${name} ${how}`), evidence: evidence.map(({ name, given }) => `${name} ${given}`), codes, passage, members, between, state };
  return verdict === "refused" ? common : { ...common, vehicle, share, change, files: files.map(({ memory, sha256 }) => `${memory} ${sha256}`) };
}

const NOTHING_JUDGED = ["file-empty", "file-too-large", "salt-wrong"];

async function askPage({ request }) {
  const verdict = await checkBundle({ ...request, now: clock() });
  if (verdict.reason !== null && verdict.steps.every(({ state }) => state === "not-reached") && NOTHING_JUDGED.includes(verdict.reason.code)) {
    return { verdict: "refused", reason: verdict.reason.code };
  }
  const written = verdict.outcome === "accepted" && request.reads.length > 0;
  const after = written ? verdict.stateAfterWrite : verdict.stateAfterLook;
  // What is not written leaves the file as it was.
  const state = after !== "" ? after : request.state === null ? "" : new TextDecoder().decode(request.state.bytes);
  return summary({
    verdict: verdict.outcome, reason: verdict.reason?.code ?? "", steps: verdict.steps, evidence: verdict.evidence, codes: verdict.cautions.map(({ code }) => code),
    passage: verdict.passage, vehicle_proof: verdict.vehicle, editable_share: verdict.editableShare, bytes_to_change: verdict.bytesToChange,
    files: verdict.files.map(({ memory, bytes }) => ({ memory, sha256: sha256Hex(bytes) })), members: verdict.partners, between: verdict.drivableBetween, state: withoutTime(state),
  });
}

async function compare(situation) {
  const laid = layOut(situation);
  const page = await askPage(laid);
  return [askChecker(laid), page];
}

// The shorter account of a case that ended before anything was judged is compared as far as it goes.
function differences(checker, page) {
  const other = Object.keys(checker).find((key) => key in page && JSON.stringify(checker[key]) !== JSON.stringify(page[key]));
  return other === undefined ? [] : [`${other}: ${JSON.stringify(checker[other])} or ${JSON.stringify(page[other])}`];
}

const situations = allSituations();
const demo = demoSituations(demoFolder);

async function compareAll(list) {
  const wrong = [];
  let good = 0;
  for (const situation of list) {
    const [checker, page] = await compare(situation);
    if (checker.verdict !== "refused") ++good;
    wrong.push(...differences(checker, page).map((text) => `${situation.name}: ${text}`));
    if (process.env.CALSEAL_PAGE_SHOW) console.log(situation.name, checker.verdict, checker.reason);
  }
  assert.deepEqual(wrong.slice(0, 10), []);
  return good;
}

// Gives how often each answer was given.
async function compareDamaged(list, cases, salt) {
  const random = seededRandom(salt);
  console.log(`# CALSEAL_SEED=${random.seed}, ${cases} cases`);
  const pool = poolOf(list);
  const wrong = [];
  const answers = new Map();
  for (let i = 0; i < cases; ++i) {
    const situation = copyOf(random.pick(list));
    let how = damage(random, situation, pool);
    if (random.below(6) === 0) how += ` and ${damage(random, situation, pool)}`;
    const [checker, page] = await compare(situation);
    const answer = checker.reason || checker.verdict;
    answers.set(answer, (answers.get(answer) ?? 0) + 1);
    wrong.push(...differences(checker, page).map((text) => `case ${i}, ${situation.name}; ${how}: ${text}`));
  }
  console.log(`# ${[...answers].sort((a, b) => b[1] - a[1]).map(([reason, count]) => `${reason} ${count}`).join(", ")}`);
  assert.deepEqual(wrong.slice(0, 20), [], `CALSEAL_SEED=${random.seed}`);
  return answers;
}

test("sound situations are judged alike", async () => {
  const good = await compareAll(situations);
  assert.ok(good >= 45, `${good} of ${situations.length} hold`);
});

test("the demo is judged alike", async () => {
  assert.ok((await compareAll(demo)) >= 7);
});

test("damaged situations are judged alike", async () => {
  assert.ok(CASES >= 300);
  const answers = await compareDamaged(situations, CASES, "differential");
  assert.ok(answers.size >= 25, `${answers.size} answers`);
});

test("the demo's files, damaged, are judged alike", async () => {
  const answers = await compareDamaged(demo, DEMO_CASES, "demo");
  assert.ok(answers.size >= 8, `${answers.size} answers`);
});
