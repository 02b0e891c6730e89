// The page's core as a reader of fixtures/bundles/README.md: `page.mjs REQUEST.json`, or `page.mjs --lines`.
import fs from "node:fs";
import readline from "node:readline";

import "../../page/platform.mjs";
import { checkBundle } from "../../../src/page/check.js";
import { sha256 } from "../../../src/page/digest.js";

const INLINE = "base64:";

function file(word) {
  if (word.startsWith(INLINE)) return { name: "inline", bytes: new Uint8Array(Buffer.from(word.slice(INLINE.length), "base64")) };
  return { name: word, bytes: new Uint8Array(fs.readFileSync(word)) };
}

function read(word) {
  const named = /^([a-z0-9][a-z0-9_-]{0,63})=(.*)$/s.exec(word);
  return named ? { memory: named[1], ...file(named[2]) } : { memory: "", ...file(word) };
}

const given = (word) => (word ? file(word) : null);

// What the state file holds afterwards; where the core offers nothing the old one stays.
async function stateAfter({ state }, { outcome, stateAfterLook, stateAfterWrite }) {
  if (!state) return {};
  const kept = (text, old) => (text === "" ? old : new TextEncoder().encode(text));
  const look = kept(stateAfterLook, file(state).bytes);
  const write = outcome === "accepted" ? kept(stateAfterWrite, look) : look;
  return { look: await sha256(look), write: await sha256(write) };
}

async function judge(request) {
  const verdict = await checkBundle({
    bundle: file(request.bundle),
    trust: file(request.trust),
    statedRoot: request.stated_root,
    reads: request.reads.map(read),
    salt: request.salt === "" ? null : file(request.salt),
    evidence: { readIsFresh: request.read_is_fresh, vehicleReference: request.vehicle_reference },
    revive: request.revive,
    sealOnly: request.seal_only,
    now: request.now,
    successions: (request.successions ?? []).map(file),
    state: given(request.state),
    withdrawals: given(request.withdrawals),
    jobList: given(request.job_list),
    inclusion: given(request.inclusion),
    newest: given(request.newest),
    declaredReturn: request.return ?? false,
    declaredOldBase: request.old_base ?? false,
    declaredClock: request.clock_is_right ?? false,
  });
  const results = {};
  if (verdict.outcome === "accepted") for (const written of verdict.files) results[written.memory] = await sha256(written.bytes);
  const { code: reason, ...texts } = verdict.reason ?? { code: "" };
  const state = await stateAfter(request, verdict);
  return { id: request.id ?? "", outcome: verdict.outcome, reason, results, state, why: Object.values(texts).join("; ") };
}

const answer = async (text) => console.log(JSON.stringify(await judge(JSON.parse(text))));
if (process.argv[2] === "--lines") {
  for await (const line of readline.createInterface({ input: process.stdin, crlfDelay: Infinity })) await answer(line);
} else {
  await answer(fs.readFileSync(process.argv[2], "utf-8"));
}
