// What the checker writes down: the next state, from the one it had and what it has now verified. docs/order.md, "What is
// remembered".

import { sha256 } from "./digest.js";
import { isReviewed } from "./judge.js";
import { lastCountingList } from "./known.js";
import { Refusal } from "./reason.js";
import { parseTime } from "./schema.js";
import {
  covers, coversWayBack, dropUnusedMaps, findRoot, insertSorted, jobKey, keepMap, KEPT_MOST, keptKey, LISTS_MOST, wayBackKey,
  WAYS_BACK_MOST,
} from "./state.js";

const CLOCK_AHEAD_MOST = 400 * 86400; // seconds
const LAST_TIME = "9999-12-31T23:59:59Z";

function lastKnown(list, state, trust) {
  const root = findRoot(state, list.root);
  return root === undefined ? undefined : lastCountingList(root, trust);
}

function isNewer(list, last) {
  return last === undefined || list.number > last.number;
}

export async function compareWithdrawals(list, state, trust, name) {
  const last = lastKnown(list, state, trust);
  if (isNewer(list, last)) return;
  if (list.number === last.number && (await sha256(list.text)) === last.list) return;
  throw new Refusal("withdrawals-old", {
    file: name,
    place: "number",
    found: `list number ${list.number}`,
    expected: `number ${last.number} as used before, or a newer one`,
    next: "ask the shop for its newest list of withdrawals",
  });
}

// Whether this list replaces what is remembered, or is what counts already.
export function isNewerList(list, state, trust) {
  return isNewer(list, lastKnown(list, state, trust));
}

// Takes out a list; what it named goes on as dropped by the list behind it.
function takeOut(lists, index) {
  const [out] = lists.splice(index, 1);
  const behind = lists[index];
  const all = new Set([...behind.dropped, ...out.notices, ...out.dropped]);
  for (const digest of behind.notices) all.delete(digest);
  behind.dropped = [...all].sort();
}

export async function learnList(root, list, trust) {
  if (!isNewer(list, lastCountingList(root, trust))) return;
  const { number, keys, notices } = list;
  const lists = root.withdrawals;
  lists.push({ number, list: await sha256(list.text), keys, notices: notices.map(({ revision }) => revision), dropped: [] });
  const sameKeys = lists.findIndex((one) => one.keys.join(" ") === keys.join(" "));
  if (sameKeys < lists.length - 1) takeOut(lists, sameKeys);
  if (lists.length > LISTS_MOST) takeOut(lists, 0);
}

// Puts a revision among those kept; the lowest gives way where there is no room.
function keepRevision(job, revision) {
  if (job.revisions.some((one) => covers(one, revision))) return;
  job.revisions = job.revisions.filter((one) => !covers(revision, one));
  insertSorted(job.revisions, revision, keptKey);
  if (job.revisions.length > KEPT_MOST) job.revisions.shift();
}

function keepWayBack(job, revision) {
  if (job.ways_back.some((one) => coversWayBack(one, revision))) return true;
  job.ways_back = job.ways_back.filter((one) => !coversWayBack(revision, one));
  if (job.ways_back.length === WAYS_BACK_MOST) return false;
  insertSorted(job.ways_back, revision, wayBackKey);
  return true;
}

// An accepted revision; false where a revision 0 had no room among the ways back.
export function learnRevision(root, { manifest, digest, keys }) {
  const fresh = { job: manifest.job, controller: manifest.controllers[0].name, revisions: [], ways_back: [] };
  const job = root.jobs.find((one) => jobKey(one) === jobKey(fresh)) ?? insertSorted(root.jobs, fresh, jobKey);
  const accepted = { base: manifest.base.number, sequence: manifest.sequence, revision: digest,
    map: manifest.controllers[0].region_map.digest, reviewed: isReviewed(manifest), keys };
  keepRevision(job, { ...accepted, set: manifest.set, returns: manifest.permitted_returns });
  return manifest.revision !== 0 || keepWayBack(job, accepted);
}

// The region map of the revision that was learned, where that was noted; false where its text had no room.
export function learnMap(state, { manifest, mapText }) {
  dropUnusedMaps(state);
  return keepMap(state, manifest.controllers[0].region_map.digest, mapText);
}

function textOfTime(seconds) {
  return new Date(seconds * 1000).toISOString().replace(".000Z", "Z");
}

// The clock, as far as signed times support it. With the person's word a later time gives way.
export function learnTime(state, now, newestSigned, clockIsRight) {
  const most = Math.min(parseTime(newestSigned) + CLOCK_AHEAD_MOST, parseTime(LAST_TIME));
  const seen = textOfTime(Math.min(parseTime(now), most));
  if (clockIsRight || state.last_time < seen) state.last_time = seen;
}
