// What a state knows that counts under the trust file in use. docs/order.md, "What counts" and "Withdrawals".

import { areEnough } from "./judge.js";
import { findRoot } from "./state.js";

function isCompromised(id, trust) {
  return trust.keys.some((key) => key.id === id && key.state === "compromised");
}

// A key that the trust file does not list: nobody has called it stolen, so it may have been anything.
function keyAsListed(id, trust) {
  return trust.keys.find((key) => key.id === id) ?? { id, roles: ["author", "reviewer"] };
}

// The root and every root from which recorded successors lead to it, as far as the state holds them.
export function speakingRoots(state, rootId) {
  const reached = [rootId];
  for (const id of reached) {
    for (const { root, next } of state.roots) if (next === id && !reached.includes(root)) reached.push(root);
  }
  return reached.map((id) => findRoot(state, id)).filter((root) => root !== undefined);
}

// Whether an accepted revision still counts.
export function revisionCounts({ keys, reviewed }, trust) {
  const others = keys.filter((id) => !isCompromised(id, trust));
  return others.length === keys.length || areEnough(reviewed, others.map((id) => keyAsListed(id, trust)), trust);
}

export function lastCountingList({ withdrawals }, trust) {
  return [...withdrawals].reverse().find(({ keys }) => !keys.every((id) => isCompromised(id, trust)));
}

// Adds what lists of this root keep in force; whether one of them counts.
function gatherLists(root, trust, withdrawn) {
  const last = lastCountingList(root, trust);
  for (const list of [...root.withdrawals].reverse()) {
    for (const digest of list.notices) withdrawn.add(digest);
    if (list === last) return true;
    for (const digest of list.dropped) withdrawn.add(digest);
  }
  return false;
}

// Manifest digests of the revisions that are withdrawn under the trust file's root, as a set.
export function withdrawnInForce(state, trust) {
  const withdrawn = new Set();
  const reached = [trust.rootId];
  for (const id of reached) {
    const own = findRoot(state, id);
    if (own !== undefined && gatherLists(own, trust, withdrawn)) continue;
    for (const { root, next } of state.roots) if (next === id && !reached.includes(root)) reached.push(root);
  }
  return withdrawn;
}

// What was learned of a job and controller under each root that speaks.
export function knownJobs({ state, trust }, job, controller) {
  if (state === null) return [];
  return speakingRoots(state, trust.rootId).flatMap(({ jobs }) =>
    jobs.filter((one) => one.job === job && one.controller === controller));
}

// The one with the highest sequence among those that count; undefined where none counts.
function newestCounting(revisions, trust) {
  const isHigher = (a, b) => a.sequence > b.sequence || (a.sequence === b.sequence && a.revision > b.revision);
  const counting = revisions.filter((one) => revisionCounts(one, trust));
  return counting.reduce((best, one) => (best === undefined || isHigher(one, best) ? one : best), undefined);
}

export function newestAccepted(jobs, trust) {
  return newestCounting(jobs.flatMap(({ revisions }) => revisions), trust);
}

// Digest of the region map that is known; "" where none is.
export function knownMap(jobs, trust) {
  const newest = newestAccepted(jobs, trust) ?? newestCounting(jobs.flatMap(({ ways_back: waysBack }) => waysBack), trust);
  return newest?.map ?? "";
}

// Whether this very manifest is a revision 0 that was accepted before.
export function isWayBackAccepted(jobs, digest) {
  return jobs.some(({ ways_back: waysBack }) => waysBack.some(({ revision }) => revision === digest));
}
