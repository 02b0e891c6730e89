// What was accepted before: two lines of text that the person keeps, in the checker's own form. It only ever refuses
// more than no memory would.

import { grouped, latin1, startsWith } from "./bytes.js";
import { sha256 } from "./digest.js";
import { BASE_NUMBER, RETURNS_MOST, SEQUENCE_MOST, SEQUENCE_NUMBER } from "./manifest.js";
import { Refusal } from "./reason.js";
import {
  BOOLEAN, canonicalText, DIGEST, integerOf, isAscending, listOf, literalOf, MAYBE_DIGEST, MAYBE_TIME, NAME, objectOf,
  readCanonicalAs, VALUE,
} from "./schema.js";
import { NOTICES_MOST } from "./statements.js";

export const STATE_MOST = 2 ** 23;
const STATE_JOB = objectOf(
  ["job", NAME],
  ["controller", NAME],
  ["base", BASE_NUMBER],
  ["way_back_sequence", integerOf(0, SEQUENCE_MOST)],
  ["way_back", MAYBE_DIGEST],
  ["sequence", SEQUENCE_NUMBER],
  ["revision", DIGEST],
  ["set", MAYBE_DIGEST],
  ["returns", listOf(DIGEST, RETURNS_MOST)],
);
const STATE_ROOT = objectOf(
  ["root", DIGEST],
  ["trust_version", integerOf(1)],
  ["trust", DIGEST],
  ["superseded", BOOLEAN],
  ["withdrawal_number", integerOf(0)],
  ["withdrawals", MAYBE_DIGEST],
  ["withdrawn", listOf(DIGEST, NOTICES_MOST)],
  ["jobs", listOf(STATE_JOB, 4096)],
);
const STATE = objectOf(["calseal", VALUE], ["last_time", MAYBE_TIME], ["roots", listOf(STATE_ROOT, 64)]);

function damagedState(name, place, found, expected) {
  return new Refusal("state-damaged", {
    file: name, place, found, expected, next: "put the file aside; a new state begins with the next bundle that is accepted",
  });
}

// Names and digests hold no blank.
function jobKey({ job, controller }) {
  return `${job} ${controller}`;
}

function isConsistent({ roots }) {
  if (!isAscending(roots, ({ root }) => root)) return false;
  return roots.every(({ jobs, withdrawals, withdrawal_number: number, withdrawn }) => {
    if (!isAscending(jobs, jobKey) || !isAscending(withdrawn) || (withdrawals !== "") !== (number !== 0)) return false;
    return jobs.every((job) => {
      const wayBackFits = (job.way_back !== "") === (job.way_back_sequence !== 0) && job.way_back_sequence <= job.sequence;
      return wayBackFits && isAscending(job.returns);
    });
  });
}

export function newState() {
  return { calseal: "state/1", last_time: "", roots: [] };
}

export async function readState(bytes, name) {
  if (bytes.length > STATE_MOST) throw damagedState(name, "", `${grouped(bytes.length)} bytes`, `at most ${grouped(STATE_MOST)} bytes`);
  const end = bytes.indexOf(0x0a);
  const literal = literalOf("state/1");
  if (!startsWith(bytes, literal) || end < 0) throw damagedState(name, "line 1", "another beginning", literal);
  const line = bytes.subarray(0, end);
  const sum = await sha256(line);
  if (latin1(bytes.subarray(end + 1, end + 100)) !== `${sum}\n`) throw damagedState(name, "line 2", "another sum", sum);
  const state = readCanonicalAs("state-damaged", line, STATE, name);
  if (!isConsistent(state)) throw damagedState(name, "line 1", "fields that contradict", "what the checker writes");
  return state;
}

export async function writeState(state) {
  const line = canonicalText(STATE, state);
  // All of it is ASCII: names, digests, numbers, times.
  return `${line}\n${await sha256(Uint8Array.from(line, (c) => c.charCodeAt(0)))}\n`;
}

export function findRoot(state, rootId) {
  return state?.roots.find(({ root }) => root === rootId);
}

export function findJob(root, job, controller) {
  return root?.jobs.find((one) => one.job === job && one.controller === controller);
}

function insertSorted(list, item, key) {
  list.push(item);
  list.sort((a, b) => (key(a) < key(b) ? -1 : 1));
  return item;
}

function rootEntry(state, rootId) {
  const fresh = {
    root: rootId,
    trust_version: 1,
    trust: "0".repeat(64),
    superseded: false,
    withdrawal_number: 0,
    withdrawals: "",
    withdrawn: [],
    jobs: [],
  };
  return findRoot(state, rootId) ?? insertSorted(state.roots, fresh, ({ root }) => root);
}

// A root that was succeeded, a lower version than seen, another file of the same version: refused.
export async function compareTrust({ trust }, state, name) {
  const root = findRoot(state, trust.rootId);
  if (root === undefined) return;
  const old = (found, expected) =>
    new Refusal("trust-old", {
      file: name, place: "version", found, expected, next: "use the shop's newest trust file; ask the shop if this is the newest",
    });
  if (root.superseded) throw old("a root that was succeeded by another", "the trust file of the shop's present root");
  if (trust.version < root.trust_version) throw old(`version ${trust.version}`, `version ${root.trust_version} or newer, as used before`);
  if (trust.version === root.trust_version && (await sha256(trust.text)) !== root.trust) {
    throw old(`another file with version ${trust.version}`, `the one used before, SHA-256 of its first line ${root.trust}`);
  }
}

export async function compareWithdrawals(list, state, name) {
  const root = findRoot(state, list.root);
  if (root === undefined || list.number > root.withdrawal_number) return;
  if (list.number === root.withdrawal_number && (await sha256(list.text)) === root.withdrawals) return;
  throw new Refusal("withdrawals-old", {
    file: name,
    place: "number",
    found: `list number ${list.number}`,
    expected: `number ${root.withdrawal_number} as used before, or a newer one`,
    next: "ask the shop for its newest list of withdrawals",
  });
}

// Trust file, succeeded roots and the list of withdrawals; numbers never fall.
export async function rememberTrust(state, { trust, oldTrusts }, list) {
  for (const oldTrust of oldTrusts) {
    const old = rootEntry(state, oldTrust.rootId);
    old.superseded = true;
    if (oldTrust.version < old.trust_version) continue;
    old.trust_version = oldTrust.version;
    old.trust = await sha256(oldTrust.text);
  }
  const root = rootEntry(state, trust.rootId);
  root.trust_version = trust.version;
  root.trust = await sha256(trust.text);
  if (list === null || list.number <= root.withdrawal_number) return;
  root.withdrawal_number = list.number;
  root.withdrawals = await sha256(list.text);
  root.withdrawn = list.notices.map(({ revision }) => revision);
}

// An accepted revision: a newer one raises everything, a return or the way back lowers nothing.
export function rememberRevision(state, rootId, { manifest, digest }, now) {
  if (state.last_time < now) state.last_time = now;
  const root = rootEntry(state, rootId);
  const controller = manifest.controllers[0].name;
  const before = findJob(root, manifest.job, controller);
  const job = before ?? insertSorted(root.jobs, { job: manifest.job, controller, base: 1 }, jobKey);
  if (before === undefined || manifest.base.number > job.base) {
    Object.assign(job, { base: manifest.base.number, way_back: "", way_back_sequence: 0 });
  }
  if (manifest.revision === 0 && manifest.sequence >= job.way_back_sequence) {
    Object.assign(job, { way_back: digest, way_back_sequence: manifest.sequence });
  }
  if (before !== undefined && manifest.sequence <= job.sequence) return;
  const { sequence, set, permitted_returns: returns } = manifest;
  Object.assign(job, { sequence, revision: digest, set, returns });
}
