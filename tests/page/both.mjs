// One situation, judged by calseal-check and by the page's core: what both say, in the same words.
import assert from "node:assert/strict";
import { spawnSync } from "node:child_process";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";

import "./platform.mjs";
import { askPage, summary, withoutTime } from "./answers.mjs";

export const CHECKER = process.env.CALSEAL_CHECK;
assert.ok(CHECKER && process.env.CALSEAL && process.env.CALSEAL_DEMO_DATA, "CALSEAL, CALSEAL_CHECK, CALSEAL_DEMO_DATA name the programs");
const folder = fs.mkdtempSync(path.join(os.tmpdir(), "calseal-page-"));
process.on("exit", () => fs.rmSync(folder, { recursive: true, force: true }));

const prefixOf = ({ memory }) => (memory === "" ? "" : `${memory}=`);

// Files of a situation as they lie in the folder: [option, path], and the same as the page gets them.
export function layOut({ files, flags }) {
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
    declaredOldBase: flags.oldBase,
    declaredClock: flags.clockIsRight,
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
    ...(flags.oldBase ? ["--old-base"] : []),
    ...(flags.clockIsRight ? ["--clock-is-right"] : []),
    ...(flags.sealOnly ? ["--seal-only"] : request.reads.flatMap((file, i) => ["--image", `${prefixOf(file)}${path.join(folder, `image-${i}`)}`])),
  ];
  return { options, request };
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

// The request alone, and what calseal-check answers to it.
export function askCheckerAlone(situation) {
  const laid = layOut(situation);
  return { request: laid.request, answer: askChecker(laid) };
}

export async function askBoth(situation) {
  const laid = layOut(situation);
  const page = await askPage(laid.request);
  return [askChecker(laid), page];
}
