// Step checksums of docs/proof.md: every checksum and copy of the result holds, and the result is still of the family.

import { claimMismatch, Refusal } from "./reason.js";
import { readIdentity, recogniseFamily } from "./identity.js";
import { withKnown } from "./image.js";
import { overlapping } from "./place.js";
import { failureOf, verifyChecks } from "./verify.js";

// 1.
function checksumsAreCounted({ claims, plan }) {
  const [said, found] = [claims.checksums.length, plan.nodes.length];
  if (said !== found) throw claimMismatch("controllers/0/checksums", `${said} checksums`, `${found} as in the region map`);
}

// The way back restores what was received, and what did not hold then does not have to hold now.
function cameFailing({ manifest }, claim) {
  return manifest.revision === 0 && claim.state === "fails";
}

// 3. A rule has no slot of its own, so its value is that over the coverage.
function valueOf(outcome) {
  if (outcome.isCopy || outcome.floating || outcome.state === "not-provable") return "";
  return outcome.isRule ? outcome.computed : outcome.stored;
}

// 2. One node.
function checkIsAsSaid(proof, claim, outcome, place) {
  const failing = cameFailing(proof, claim);
  if (outcome.state === "fails" && !failing) throw failureOf(proof.plan, outcome);
  if (outcome.state === "not-provable" && claim.state === "holds") {
    throw new Refusal("checksum-not-provable", { place: outcome.name, found: outcome.detail,
      expected: "a checksum that holds, as sealed", next: "read the controller again, with all the memories of the first read" });
  }
  // What floats was corrected for this read, so it holds whatever came.
  const isCorrected = failing && outcome.floating && outcome.state === "holds";
  const { name, state, value } = claim;
  if (name === outcome.name && (state === outcome.state || isCorrected) && value === valueOf(outcome)) return;
  throw claimMismatch(place, `${name} ${state} ${value}`, `${outcome.name} ${outcome.state} ${valueOf(outcome)} as computed`);
}

// 4. "" when a byte of the field is unknown or not pinned.
function identityIsAsSaid({ map, claims, spans, result }) {
  const isPinnedField = (field) => overlapping(spans, field).every(({ after }) => after !== "");
  const fields = readIdentity(map, result).filter(({ field }) => !field.binds);
  for (const [i, { name, text: said }] of claims.identity.entries()) {
    const { field, text } = fields[i];
    const found = isPinnedField(field) ? text : "";
    if (said !== found) throw claimMismatch(`controllers/0/identity/${i}/text`, `${name} "${said}"`, `"${found}" as in the result`);
  }
}

// 5. On all that the read knows, as it was recognised, so that the next read is not refused.
function resultIsRecognised({ map, read, result }) {
  const whole = withKnown(result, read.image.memories.map(({ known }) => known));
  recogniseFamily(map, whole);
}

// What fails in the read.
async function noteFailing({ plan, cut, words, cautions }, outcomes) {
  const ofRead = await verifyChecks(plan, cut);
  ofRead.forEach(({ name, state, detail }, i) => {
    if (state !== "fails") return;
    const rest = outcomes[i].state === "holds" ? "; the result holds" : "";
    cautions.push({ code: "read-checksum-fails", says: outcomes[i].state === "holds" ? "read-checksum-mended" : "read-checksum-fails", parts: { name },
      text: `in ${words.read}, ${name} does not hold (${detail}): it was read while running, half written, or edited${rest}` });
  });
}

export async function proveChecksums(proof) {
  checksumsAreCounted(proof);
  const outcomes = await verifyChecks(proof.plan, proof.result);
  outcomes.forEach((outcome, i) => checkIsAsSaid(proof, proof.claims.checksums[i], outcome, `controllers/0/checksums/${i}`));
  identityIsAsSaid(proof);
  resultIsRecognised(proof);
  await noteFailing(proof, outcomes);
}
