// What was accepted before: two lines of text that the person keeps, in the checker's own form. docs/order.md, "The state file".

import { grouped, latin1, startsWith, utf8 } from "./bytes.js";
import { sha256 } from "./digest.js";
import { BASE_NUMBER, RETURNS_MOST, SEQUENCE_NUMBER } from "./manifest.js";
import { SIGNATURES_MOST } from "./prefix.js";
import { Refusal } from "./reason.js";
import { REGION_MAP_MOST } from "./region_map.js";
import {
  BOOLEAN, canonicalText, DIGEST, integerOf, isAscending, listOf, literalOf, MAYBE_DIGEST, MAYBE_TIME, NAME, objectOf,
  readCanonicalAs, VALUE,
} from "./schema.js";
import { NOTICES_MOST } from "./statements.js";

export const STATE_MOST = 2 ** 23;
export const KEPT_MOST = 16;
export const WAYS_BACK_MOST = 32;
export const LISTS_MOST = 16;
const MAPS_MOST = 64;
const MAP_BYTES_MOST = 2 ** 21; // of all of them together
const ACCEPTED_ROWS = [
  ["base", BASE_NUMBER],
  ["sequence", SEQUENCE_NUMBER],
  ["revision", DIGEST],
  ["map", DIGEST],
  ["reviewed", BOOLEAN],
  ["keys", listOf(DIGEST, SIGNATURES_MOST)],
];
const WAY_BACK = objectOf(...ACCEPTED_ROWS);
const KEPT_REVISION = objectOf(...ACCEPTED_ROWS, ["set", MAYBE_DIGEST], ["returns", listOf(DIGEST, RETURNS_MOST)]);
const STATE_JOB = objectOf(
  ["job", NAME],
  ["controller", NAME],
  ["revisions", listOf(KEPT_REVISION, KEPT_MOST)],
  ["ways_back", listOf(WAY_BACK, WAYS_BACK_MOST)],
);
const REMEMBERED_LIST = objectOf(
  ["number", integerOf(1)],
  ["list", DIGEST],
  ["keys", listOf(DIGEST, SIGNATURES_MOST)],
  ["notices", listOf(DIGEST, NOTICES_MOST)],
  ["dropped", listOf(DIGEST, 65536)],
);
const STATE_ROOT = objectOf(
  ["root", DIGEST],
  ["next", MAYBE_DIGEST],
  ["trust_version", integerOf(1)],
  ["trust", DIGEST],
  ["compromised", listOf(DIGEST, 256)],
  ["withdrawals", listOf(REMEMBERED_LIST, LISTS_MOST)],
  ["jobs", listOf(STATE_JOB, 4096)],
);
// In a file the text alone; here {digest, text}, the digest found by readState().
const STATE_MAP = { read: (node) => ({ digest: "", text: node.text(REGION_MAP_MOST) }), write: ({ text }) => text };
const STATE = objectOf(
  ["calseal", VALUE], ["last_time", MAYBE_TIME], ["maps", listOf(STATE_MAP, MAPS_MOST)], ["roots", listOf(STATE_ROOT, 64)],
);

function damagedState(name, place, found, expected) {
  return new Refusal("state-damaged", {
    file: name, place, found, expected, next: "put the file aside; a new state begins with the next bundle that is accepted",
  });
}

// Names and digests hold no blank.
export function jobKey({ job, controller }) {
  return `${job} ${controller}`;
}

export function wayBackKey({ revision, keys }) {
  return [revision, ...keys].join(" ");
}

export function keptKey(kept) {
  return `${String(kept.sequence).padStart(16, "0")} ${wayBackKey(kept)}`;
}

// Whether whatever `b` refuses, `a` refuses too, whichever keys are called compromised later.
export function covers(a, b) {
  if (a.sequence < b.sequence || a.base < b.base) return false;
  if (a.keys.length === 0) return true;
  return a.keys.join() === b.keys.join() && (!a.reviewed || b.reviewed);
}

export function coversWayBack(a, b) {
  return a.revision === b.revision && covers(a, b);
}

function noneCovers(list, covered) {
  return list.every((a) => isAscending(a.keys) && !list.some((b) => a !== b && covered(a, b)));
}

function isConsistentJob({ revisions, ways_back: waysBack }) {
  const ordered = isAscending(revisions, keptKey) && isAscending(waysBack, wayBackKey);
  return (
    revisions.length + waysBack.length > 0 && ordered && noneCovers(revisions, covers) && noneCovers(waysBack, coversWayBack) &&
    revisions.every(({ returns }) => isAscending(returns))
  );
}

function isConsistentList({ keys, notices, dropped }) {
  const named = new Set(notices);
  return keys.length > 0 && [keys, notices, dropped].every((list) => isAscending(list)) && !dropped.some((digest) => named.has(digest));
}

function isConsistentRoot({ root, next, compromised, withdrawals, jobs }) {
  const keySets = new Set(withdrawals.map(({ keys }) => keys.join(" ")));
  return (
    next !== root && isAscending(compromised) && keySets.size === withdrawals.length && withdrawals.every(isConsistentList) &&
    isAscending(jobs, jobKey) && jobs.every(isConsistentJob)
  );
}

// Digests of the region maps of all revisions and ways back.
function mapsInUse({ roots }) {
  const jobs = roots.flatMap((root) => root.jobs);
  return new Set(jobs.flatMap(({ revisions, ways_back: waysBack }) => [...revisions, ...waysBack].map(({ map }) => map)));
}

function mapBytes({ maps }) {
  return maps.reduce((total, { text }) => total + utf8(text).length, 0);
}

function areConsistentMaps(state) {
  const used = mapsInUse(state);
  return isAscending(state.maps, ({ digest }) => digest) && state.maps.every(({ digest }) => used.has(digest)) && mapBytes(state) <= MAP_BYTES_MOST;
}

export function newState() {
  return { calseal: "state/1", last_time: "", maps: [], roots: [] };
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
  for (const map of state.maps) map.digest = await sha256(utf8(map.text));
  if (!isAscending(state.roots, ({ root }) => root) || !state.roots.every(isConsistentRoot) || !areConsistentMaps(state)) {
    throw damagedState(name, "line 1", "fields that contradict", "what the checker writes");
  }
  return state;
}

export async function writeState(state) {
  const line = canonicalText(STATE, state);
  return `${line}\n${await sha256(utf8(line))}\n`;
}

// The text of a region map; undefined where it was not kept.
export function findMap(state, digest) {
  return state.maps.find((map) => map.digest === digest)?.text;
}

// Texts that no revision and no way back has any more.
export function dropUnusedMaps(state) {
  const used = mapsInUse(state);
  state.maps = state.maps.filter(({ digest }) => used.has(digest));
}

// Keeps the text of a region map that a revision or way back has; false where there is no room.
export function keepMap(state, digest, text) {
  if (findMap(state, digest) !== undefined || !mapsInUse(state).has(digest)) return true;
  if (state.maps.length === MAPS_MOST || mapBytes(state) + utf8(text).length > MAP_BYTES_MOST) return false;
  insertSorted(state.maps, { digest, text }, (map) => map.digest);
  return true;
}

export function findRoot(state, rootId) {
  return state?.roots.find(({ root }) => root === rootId);
}

export function insertSorted(list, item, key) {
  list.push(item);
  list.sort((a, b) => (key(a) < key(b) ? -1 : 1));
  return item;
}
