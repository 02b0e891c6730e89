// Which signatures count, and whether they are enough.

import { approvalsLead, faultsOfApprovals } from "./approvals.js";
import { printable } from "./bytes.js";
import { checkInclusion } from "./inclusion.js";
import { verifySignature } from "./key.js";
import { Refusal } from "./reason.js";

function keyText(key) {
  return `${printable(key.name, 60)} (key ${key.id})`;
}

function signersText(signers) {
  return signers.map((key) => `${printable(key.name, 60)}: ${key.roles.join(" ")}`).join("; ") || "no signer";
}

// The listed keys of all signatures over `message`, in file order. `placeOf` says where the signature of a key stands.
export async function verifySigners(message, signatures, trust, placeOf, name) {
  const signers = signatures.map(({ keyId: id }) => {
    const key = trust.keys.find((one) => one.id === id);
    if (key !== undefined) return key;
    throw new Refusal("signer-unknown", {
      file: name,
      place: placeOf(id),
      found: "a key that the trust file does not list",
      expected: `keys of ${printable(trust.shop, 80)}, trust file version ${trust.version}`,
      next: "ask the shop for its newest trust file; if the key is not in it, do not use this file",
    });
  });
  for (const [i, key] of signers.entries()) {
    if (await verifySignature(key.public_key, message, signatures[i].signature)) continue;
    throw new Refusal("signature-bad", {
      file: name,
      place: placeOf(key.id),
      found: "a signature that does not verify",
      expected: `the signature of ${keyText(key)} over these bytes`,
      next: "do not use this file; ask its sender for a new copy",
    });
  }
  return signers;
}

function compromisedKey(key, placeOf, name, next) {
  return new Refusal("key-compromised", {
    file: name, place: placeOf(key.id), found: `${keyText(key)}, compromised`, expected: "active keys only", next,
  });
}

function keyScope(key, found, placeOf, name) {
  return new Refusal("key-scope", {
    file: name, place: placeOf(key.id), found, expected: `what ${keyText(key)} may sign`, next: "ask the shop for one signed by a key for it",
  });
}

// `subjects` are [scope's name, what it must hold]; a scope that holds nothing restricts nothing.
function checkScope(signers, subjects, placeOf, name) {
  for (const key of signers) {
    for (const [scope, subject] of subjects) {
      if (key[scope].length === 0 || key[scope].includes(subject)) continue;
      throw keyScope(key, `${scope}: ${subject || "all of them"}`, placeOf, name);
    }
  }
}

// Times are texts of one length and compare as such.
function checkValidity(signers, claimedTime, placeOf, name) {
  for (const key of signers) {
    if (key.valid_from <= claimedTime && (key.valid_until === "" || claimedTime < key.valid_until)) continue;
    throw new Refusal("key-validity", {
      file: name,
      place: placeOf(key.id),
      found: `claimed time ${claimedTime}`,
      expected: `from ${key.valid_from}${key.valid_until === "" ? "" : `, before ${key.valid_until}`}`,
      next: "ask the shop for its newest trust file or for one signed by a valid key",
    });
  }
}

function hasRole(role) {
  return (key) => key.roles.includes(role);
}

// Each required role by a key of its own, and enough authors or reviewers.
export function areEnough(reviewed, signers, trust) {
  const able = signers.filter((key) => hasRole("author")(key) || hasRole("reviewer")(key));
  const authors = signers.filter(hasRole("author"));
  const filled = reviewed
    ? authors.some((author) => signers.some((key) => key !== author && hasRole("reviewer")(key)))
    : authors.length > 0;
  return filled && able.length >= trust.policy.threshold;
}

// Whether a revision needs a reviewer beside its author.
export function isReviewed(manifest) {
  return manifest.required_roles.includes("reviewer");
}

// Step 8a: all signers, or beside a compromised one those that need it not; {signers, byLedger}.
async function countedSigners(manifest, digest, signers, trust, inclusion, placeOf, name) {
  const compromised = signers.find((key) => key.state === "compromised");
  if (compromised === undefined) return { signers, byLedger: false };
  let unproved = null;
  if (inclusion !== null) {
    try {
      await checkInclusion(inclusion, digest, trust.ledger_heads, name);
      return { signers, byLedger: true };
    } catch (fault) {
      if (!(fault instanceof Refusal)) throw fault;
      unproved = fault;
    }
  }
  const active = signers.filter((key) => key.state === "active");
  if (areEnough(isReviewed(manifest), active, trust)) return { signers: active, byLedger: false };
  const next = "do not use this bundle; ask the shop for one with a new signature, or for the proof that it is older";
  throw unproved ?? compromisedKey(compromised, placeOf, name, next);
}

// Step 8b, the region map: the key's list names it, or one from which approvals lead to it.
function checkMapScope(signers, map, approvals, placeOf, name) {
  for (const key of signers) {
    const listed = key.region_maps;
    if (listed.length === 0 || listed.some((from) => approvalsLead(approvals, from, map) !== null)) continue;
    throw keyScope(key, `region_maps: ${map}${faultsOfApprovals(approvals)}`, placeOf, name);
  }
}

// Step 8 for a bundle whose signatures verify. Gives the ids of the keys that counted, none where the ledger proved it.
export async function judgeBundleTrust(manifest, digest, signers, trust, inclusion, approvals, placeOf, name) {
  const { signers: counted, byLedger } = await countedSigners(manifest, digest, signers, trust, inclusion, placeOf, name);
  const controller = manifest.controllers[0];
  checkScope(counted, [["jobs", manifest.job], ["controllers", controller.name]], placeOf, name);
  checkMapScope(counted, controller.region_map.digest, approvals, placeOf, name);
  checkValidity(counted, manifest.claimed_time, placeOf, name);
  if (areEnough(isReviewed(manifest), counted, trust)) return byLedger ? [] : counted.map(({ id }) => id);
  throw new Refusal("roles-missing", {
    file: name,
    place: "signatures",
    found: signersText(counted),
    expected: `${manifest.required_roles.join(" and ")}, each by a key of its own; ${trust.policy.threshold} signatures by authors or reviewers`,
    next: "ask the shop for the missing signature",
  });
}

// For a statement, where every signing key must be good for it. Without a job it speaks for all of them.
export function judgeStatementTrust(signers, role, { job = "", controller = "" }, claimedTime, placeOf, name) {
  const compromised = signers.find((key) => key.state === "compromised");
  if (compromised !== undefined) throw compromisedKey(compromised, placeOf, name, "ask the shop for one signed by another key");
  const other = signers.find((key) => !hasRole(role)(key));
  if (other !== undefined) {
    throw new Refusal("roles-missing", {
      file: name,
      place: placeOf(other.id),
      found: signersText([other]),
      expected: `signers with the role ${role}`,
      next: "ask the shop for one signed by a key with this role",
    });
  }
  checkScope(signers, [["jobs", job], ["controllers", controller]], placeOf, name);
  checkValidity(signers, claimedTime, placeOf, name);
}
