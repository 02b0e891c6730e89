// What a checker answered, in the same words for calseal-check and for the page's core. Nothing of Node is used, so that a
// browser can give its answers too.
import { checkBundle } from "../../src/page/check.js";
import { sha256 } from "../../src/page/digest.js";

export const clock = () => new Date().toISOString().replace(/\.\d+Z$/, "Z");

// The time of the last acceptance is the clock's, which two programs cannot share to the second.
export function withoutTime(text) {
  return text.split("\n")[0].replace(/"last_time":"[^"]*"/, "");
}

export function summary({ verdict, reason, trust, steps, evidence, codes, passage, phrase, vehicle_proof: vehicle, editable_share: share, bytes_to_change: change, files, members, between, state }) {
  const common = { verdict, reason, trust, steps: steps.map(({ name, state: how }) => `${name} ${how}`), evidence: evidence.map(({ name, given }) => `${name} ${given}`), codes, passage, phrase, members, between, state };
  return verdict === "refused" ? common : { ...common, vehicle, share, change, files: files.map(({ memory, sha256 }) => `${memory} ${sha256}`) };
}

const NOTHING_JUDGED = ["file-empty", "file-too-large", "salt-wrong"];

export async function askPage(request) {
  const verdict = await checkBundle({ ...request, now: clock() });
  if (verdict.reason !== null && verdict.steps.every(({ state }) => state === "not-reached") && NOTHING_JUDGED.includes(verdict.reason.code)) {
    return { verdict: "refused", reason: verdict.reason.code };
  }
  const written = verdict.outcome === "accepted" && request.reads.length > 0;
  const after = written ? verdict.stateAfterWrite : verdict.stateAfterLook;
  // What is not written leaves the file as it was.
  const state = after !== "" ? after : request.state === null ? "" : new TextDecoder().decode(request.state.bytes);
  const files = [];
  for (const { memory, bytes } of verdict.files) files.push({ memory, sha256: await sha256(bytes) });
  return summary({
    verdict: verdict.outcome, reason: verdict.reason?.code ?? "",
    trust: verdict.trustVersion === 0 ? {} : { version: verdict.trustVersion, claimed_time: verdict.trustTime }, steps: verdict.steps, evidence: verdict.evidence, codes: verdict.cautions.map(({ code }) => code),
    passage: verdict.passage, phrase: verdict.phrase, vehicle_proof: verdict.vehicle, editable_share: verdict.editableShare, bytes_to_change: verdict.bytesToChange,
    files, members: verdict.partners, between: verdict.drivableBetween, state: withoutTime(state),
  });
}

// The shorter account of a case that ended before anything was judged is compared as far as it goes.
export function differences(checker, page) {
  const other = Object.keys(checker).find((key) => key in page && JSON.stringify(checker[key]) !== JSON.stringify(page[key]));
  return other === undefined ? [] : [`${other}: ${JSON.stringify(checker[other])} or ${JSON.stringify(page[other])}`];
}
