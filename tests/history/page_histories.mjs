// The page's core on the histories that calseal_histories made with --files: the same answers, from the same files.
import readline from "node:readline";

import "../page/platform.mjs";
import { checkBundle } from "../../src/page/check.js";
import { keyId } from "../../src/page/key.js";
import { SPOKEN, spokenCode } from "../../src/page/spoken_code.js";
import { keyOf } from "../page/forge.mjs";

const fingerprints = new Map();

async function statedRoot(seed) {
  if (seed === 0) return "";
  if (!fingerprints.has(seed)) fingerprints.set(seed, spokenCode(SPOKEN.key, await keyId(keyOf(seed).publicKey)));
  return fingerprints.get(seed);
}

function car(software) {
  const bytes = new Uint8Array(64).fill(0xff);
  bytes.set(new TextEncoder().encode("TINY"), 0);
  bytes.set(new TextEncoder().encode(software), 0x30);
  return bytes;
}

async function answerTo(step, files, state) {
  const file = (name) => (name === "" ? null : { name, bytes: new Uint8Array(Buffer.from(files[name], "hex")) });
  const hasRead = ["write", "look", "seal"].includes(step.mode);
  const verdict = await checkBundle({
    bundle: file(step.bundle),
    trust: file(step.trust),
    successions: step.successions.map(file),
    statedRoot: await statedRoot(step.stated),
    withdrawals: file(step.withdrawals),
    jobList: file(step.job_list),
    newest: file(step.newest),
    declaredReturn: step.return,
    declaredOldBase: step.old_base,
    declaredClock: step.clock_is_right,
    sealOnly: step.mode === "seal",
    revive: step.mode === "revive",
    reads: hasRead ? [{ memory: "", name: "read.bin", bytes: car(step.car) }] : [],
    evidence: { readIsFresh: true, salt: null, vehicleReference: "blue estate" },
    state: { name: "state", bytes: new TextEncoder().encode(state) },
    now: step.now,
  });
  const written = verdict.outcome === "accepted" && step.mode !== "look";
  const after = written ? verdict.stateAfterWrite : verdict.stateAfterLook;
  const { outcome, passage, cautions } = verdict;
  return { outcome, reason: verdict.reason?.code ?? "", passage, cautions: cautions.map(({ code }) => code), state: after === "" ? state : after };
}

for await (const line of readline.createInterface({ input: process.stdin, crlfDelay: Infinity })) {
  const { history, files } = JSON.parse(line);
  const answers = [];
  let state = "";
  for (const step of JSON.parse(history).steps) {
    answers.push(await answerTo(step, files, state));
    state = answers.at(-1).state;
  }
  process.stdout.write(JSON.stringify({ steps: answers }) + "\n");
}
