// Whether the state agrees with the way by which a trust file is believed. docs/order.md, "Roots" and "The trust file".

import { sha256 } from "./digest.js";
import { speakingRoots } from "./known.js";
import { Refusal } from "./reason.js";
import { SPOKEN, spokenCode } from "./spoken_code.js";
import { dropUnusedMaps, findRoot, insertSorted } from "./state.js";
import { statedIndex } from "./trust.js";

function knowsAny(state, rootIds) {
  return rootIds.some((id) => findRoot(state, id) !== undefined);
}

function checkRelated(roots, state, stated, name) {
  if (state.roots.length === 0 || stated >= 0 || knowsAny(state, roots)) return;
  throw new Refusal("root-unrelated", {
    file: name,
    place: "root",
    found: spokenCode(SPOKEN.key, roots.at(-1)),
    expected: "a root that the state knows, one that followed it, or one that was stated",
    next: "ask the shop for its fingerprint by telephone or in person, and state it; names of jobs prove nothing",
  });
}

// Takes out what was learned under another successor, up to a root that the chain names.
function dropBranch(state, from, roots) {
  for (let at = from; !roots.includes(at);) {
    const root = findRoot(state, at);
    if (root === undefined) return;
    state.roots = state.roots.filter((one) => one !== root);
    at = root.next;
  }
}

function followStep(roots, index, stated, state, name) {
  const next = findRoot(state, roots[index])?.next ?? "";
  if (next === "" || next === roots[index + 1]) return;
  if (stated <= index) {
    throw new Refusal("succession-fork", {
      file: name,
      place: `successor of ${spokenCode(SPOKEN.key, roots[index])}`,
      found: spokenCode(SPOKEN.key, roots[index + 1]),
      expected: `${spokenCode(SPOKEN.key, next)}, as seen before`,
      next: "believe neither; ask the shop, by telephone or in person, which of the two is its own, and state that one",
    });
  }
  dropBranch(state, next, roots);
}

async function checkVersion(trust, state, name) {
  const root = findRoot(state, trust.rootId);
  if (root === undefined) return;
  const old = (found, expected) =>
    new Refusal("trust-old", {
      file: name, place: "version", found, expected, next: "use the shop's newest trust file; ask the shop if this is the newest",
    });
  if (root.next !== "") throw old("a root that was succeeded by another", `the trust file of ${spokenCode(SPOKEN.key, root.next)}`);
  if (trust.version < root.trust_version) throw old(`version ${trust.version}`, `version ${root.trust_version} or newer, as used before`);
  if (trust.version === root.trust_version && (await sha256(trust.text)) !== root.trust) {
    throw old(`another file with version ${trust.version}`, `the one used before, SHA-256 of its first line ${root.trust}`);
  }
}

function stolenKeys(trust) {
  return trust.keys.filter((key) => key.state === "compromised").map(({ id }) => id);
}

// A higher version, and keys that it calls compromised.
async function learnTrust(root, trust) {
  if (trust.version > root.trust_version) Object.assign(root, { trust_version: trust.version, trust: await sha256(trust.text) });
  root.compromised = [...new Set([...root.compromised, ...stolenKeys(trust)])].sort();
}

async function learnRoot(state, trust) {
  const fresh = { root: trust.rootId, next: "", trust_version: 0, trust: "", compromised: [], withdrawals: [], jobs: [] };
  const root = findRoot(state, trust.rootId) ?? insertSorted(state.roots, fresh, (one) => one.root);
  await learnTrust(root, trust);
  return root;
}

// The state as a bundle under this chain is judged by it; remembered only when the bundle is accepted.
export async function followChain({ trust, oldTrusts, roots }, state, statedRoot, name) {
  const stated = statedRoot === "" ? -1 : statedIndex(roots, statedRoot);
  checkRelated(roots, state, stated, name);
  const followed = JSON.parse(JSON.stringify(state));
  for (const index of oldTrusts.keys()) followStep(roots, index, stated, followed, name);
  await checkVersion(trust, followed, name);
  for (const [index, oldTrust] of oldTrusts.entries()) (await learnRoot(followed, oldTrust)).next = roots[index + 1];
  await learnRoot(followed, trust);
  dropUnusedMaps(followed); // of a branch that was taken out
  return followed;
}

// Every key that old trust files of the chain or the state call compromised is listed so.
export function checkCompromised({ trust, oldTrusts }, state, name) {
  const remembered = state === null ? [] : speakingRoots(state, trust.rootId).flatMap(({ compromised }) => compromised);
  const ids = [...new Set([...oldTrusts.flatMap(stolenKeys), ...remembered])].sort();
  for (const id of ids) {
    const key = trust.keys.find((one) => one.id === id);
    if (key?.state === "compromised") continue;
    throw new Refusal("key-reinstated", {
      file: name,
      place: `key ${id}`,
      found: key === undefined ? "not listed" : "active",
      expected: "compromised, as an earlier trust file called it",
      next: "do not use this trust file; ask the shop for one that goes on listing this key as compromised",
    });
  }
}

// What a check that accepts nothing may teach about the chain's trust file: its root, or null where it is not known.
export async function rootOfLook(state, { trust, roots }, statedRoot) {
  const firstStated = statedRoot !== "" && !knowsAny(state, roots) && statedIndex(roots, statedRoot) >= 0;
  if (findRoot(state, trust.rootId) === undefined && !firstStated) return null;
  return learnRoot(state, trust);
}
