// One situation, judged by calseal-check and by the page's core: what both say, in the same words.
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";

import "./platform.mjs";
import { checkBundle } from "../../src/page/check.js";
import { sha256Hex } from "./forge.mjs";

const CHECKER = process.env.CALSEAL_CHECK;
assert.ok(CHECKER && process.env.CALSEAL && process.env.CALSEAL_DEMO_DATA, "CALSEAL, CALSEAL_CHECK, CALSEAL_DEMO_DATA name the programs");
const folder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-page-"));
process.on("exit", () => fs.rmSync(folder, { recursive: true, force: true }));

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
  return summary({ ...told, codes: told.cautions.map(({ code }) => code), phrase: told.bundle.phrase ?? "", members: told.set.members, between: told.set.drivable_between_writes, state });
}

function summary({ verdict, reason, steps, evidence, codes, passage, phrase, vehicle_proof: vehicle, editable_share: share, bytes_to_change: change, files, members, between, state }) {
  const common = { verdict, reason, steps: steps.map(({ name, state: how }) => `${name} ${how}`), evidence: evidence.map(({ name, given }) => `${name} ${given}`), codes, passage, phrase, members, between, state };
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
    passage: verdict.passage, phrase: verdict.phrase, vehicle_proof: verdict.vehicle, editable_share: verdict.editableShare, bytes_to_change: verdict.bytesToChange,
    files: verdict.files.map(({ memory, bytes }) => ({ memory, sha256: sha256Hex(bytes) })), members: verdict.partners, between: verdict.drivableBetween, state: withoutTime(state),
  });
}

export async function askBoth(situation) {
  const laid = layOut(situation);
  const page = await askPage(laid);
  return [askChecker(laid), page];
}

// The shorter account of a case that ended before anything was judged is compared as far as it goes.
export function differences(checker, page) {
  const other = Object.keys(checker).find((key) => key in page && JSON.stringify(checker[key]) !== JSON.stringify(page[key]));
  return other === undefined ? [] : [`${other}: ${JSON.stringify(checker[other])} or ${JSON.stringify(page[other])}`];
}
