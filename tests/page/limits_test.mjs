// Every limit of docs/bundle-format.md that a file of ordinary size can reach: what is just within it and what is just over,
// judged by both sides and by the page of the format.
import assert from "node:assert/strict";
import { test } from "node:test";

import { differences } from "./answers.mjs";
import { askBoth } from "./both.mjs";
import { keyOf } from "./forge.mjs";
import { allSituations, changedPart } from "./scenarios.mjs";

const situations = new Map(allSituations().map((one) => [one.name, one]));
const hex = (i) => i.toString(16).padStart(64, "0");
const many = (count, make) => Array.from({ length: count }, (_, i) => make(i));
const name = (i) => `n${String(i).padStart(5, "0")}`;
const LINE = "ä".repeat(100);

const put = (field, value) => (tree) => {
  tree[field] = value;
};
const inController = (field, value) => (tree) => {
  tree.controllers[0][field] = value;
};
const option = (i) => ({ name: name(i), title: "t", digest: hex(i) });
const wanted = (i) => ({ name: name(i), title: "t", why: "w" });
const key = (i) => ({ ...keyOf(i), byte: i });

function withKeys(count, more = {}) {
  return (tree) => {
    const row = (one) => ({ ...tree.keys[0], id: one.id, public_key: one.publicKey, roles: ["author"], ...more });
    const others = many(count - tree.keys.length, (i) => row(key(20 + i)));
    tree.keys = [...tree.keys, ...others].sort((a, b) => (a.id < b.id ? -1 : 1));
  };
}

const firstKey = (field, value) => (tree) => {
  tree.keys.forEach((one) => (one[field] = value));
};

function notices(count) {
  return (tree) => {
    tree.notices = many(count, (i) => ({ ...tree.notices[0], revision: hex(i) }));
  };
}

function revisions(count) {
  return (tree) => {
    const [last] = tree.revisions.slice(-1);
    const older = many(count - 1, (i) => ({ digest: hex(i), base: 1, revision: 0, sequence: i + 1 }));
    tree.revisions = [...older, { ...last, sequence: 2 ** 40 }];
  };
}

const listOf = (noticed, dropped) => ({ number: 1, list: hex(1), keys: [hex(2)], notices: noticed, dropped });
const inState = (change) => (tree) => change(tree.roots[0]);
const stateJobs = (count) => inState((root) => {
  root.jobs = many(count, (i) => ({ ...root.jobs[0], job: name(i) }));
});

const TINY = "vector tiny-revision";
const LISTS = "withdrawals and state";
const ROWS = [
  ["options", TINY, "bundle", (n) => put("options", many(n, option)), 256, "json-value"],
  ["ordered options", TINY, "bundle", (n) => put("ordered", { time: "2026-02-28T23:59:59Z", parcel: "", options: many(n, wanted) }), 256, "json-value"],
  ["bytes of a reason why not", TINY, "bundle", (n) => put("ordered", { time: "2026-02-28T23:59:59Z", parcel: "", options: [{ ...wanted(1), why: "x".repeat(n) }] }), 200, "json-value"],
  ["requirements", TINY, "bundle", (n) => put("requirements", many(n, () => "r")), 64, "json-value"],
  ["cautions", TINY, "bundle", (n) => put("cautions", many(n, () => "c")), 64, "json-value"],
  ["annotations", TINY, "bundle", (n) => put("annotations", many(n, () => ["a", "b"])), 64, "json-value"],
  ["permitted returns", TINY, "bundle", (n) => put("permitted_returns", many(n, hex)), 1000, "json-value"],
  ["approvals", TINY, "bundle", (n) => put("approvals", many(n, () => "not one\n")), 16, "json-value"],
  ["bytes of a line", TINY, "bundle", (n) => put("title", LINE + "x".repeat(n - 200)), 200, "json-value"],
  ["bytes of a text", TINY, "bundle", (n) => put("notes", "ä" + "x".repeat(n - 2)), 65536, "json-value"],
  ["bytes of a value", TINY, "bundle", (n) => inController("identity", [{ name: "n", text: "x".repeat(n) }]), 1024, "json-value", "claim-mismatch"],
  ["bytes of a name", TINY, "bundle", (n) => put("job", "j".repeat(n)), 64, "json-value"],
  ["roles", TINY, "bundle", (n) => put("required_roles", ["author", "reviewer", "reviewer"].slice(0, n)), 2, "json-value", "roles-missing"],
  ["attachments", TINY, "bundle", (n) => put("attachments", many(n, (i) => ({ entry: `attachments/${name(i)}`, title: "" }))), 64, "json-value", "manifest-invalid"],
  ["entries", TINY, "bundle", (n) => (tree) => put("entries", many(n, () => ({ ...tree.entries[0], name: "n", stored_digest: hex(1), digest: hex(1) })))(tree), 4087, "json-value", "manifest-invalid"],
  ["files", TINY, "bundle", (n) => (tree) => inController("files", many(n, () => tree.controllers[0].files[0]))(tree), 16, "json-value", "manifest-invalid"],
  ["memories", TINY, "bundle", (n) => (tree) => inController("memories", many(n, () => tree.controllers[0].memories[0]))(tree), 16, "json-value", "manifest-invalid"],
  ["ranges of a list", TINY, "bundle", (n) => (tree) => void (tree.controllers[0].memories[0].known = many(n, () => ({ start: "0x80000000", size: 1 }))), 16384, "json-value", "manifest-invalid"],
  ["bytes of a memory", TINY, "bundle", (n) => (tree) => void (tree.controllers[0].memories[0].size = n), 2 ** 28, "json-value", "manifest-invalid"],
  ["base number", TINY, "bundle", (n) => put("base", { number: n, reason: "" }), 1000000, "json-value"],
  ["sequence", TINY, "bundle", (n) => put("sequence", n), 2 ** 40, "json-value"],
  ["revision", TINY, "bundle", (n) => (tree) => Object.assign(tree, { sequence: 2 ** 40, revision: n }), 2 ** 40 - 1, "json-value"],
  ["content of an entry", TINY, "bundle", (n) => (tree) => void (tree.entries[0].size = n), 2 ** 28, "json-value", "manifest-invalid"],
  ["region map's version", TINY, "bundle", (n) => (tree) => void (tree.controllers[0].region_map.version = n), Number.MAX_SAFE_INTEGER, "json-number", "claim-mismatch"],
  ["keys", LISTS, "trust", withKeys, 64, "trust-invalid", "trust-old"],
  ["scope of jobs", LISTS, "trust", (n) => firstKey("jobs", many(n, name)), 256, "trust-invalid", "trust-old"],
  ["heads", "new state", "trust", (n) => put("ledger_heads", many(n, (i) => ({ size: i + 1, root_hash: hex(i) }))), 64, "trust-invalid"],
  ["threshold", "new state", "trust", (n) => put("policy", { threshold: n }), 8, "trust-invalid", "roles-missing"],
  ["notices", "withdrawals", "withdrawals", notices, 4096, "withdrawals-invalid"],
  ["revisions of a list", "job list", "jobList", revisions, 4096, "job-list-invalid", "sequence-conflict"],
  ["path of a proof", "compromised, with a proof", "inclusion", (n) => put("path", many(n, hex)), 64, "inclusion-invalid", "inclusion-invalid"],
  ["jobs of a state", "newer than the state", "state", stateJobs, 4095, "accepted", "accepted"],
  ["roots of a state", "newer than the state", "state", (n) => (tree) => void (tree.roots = many(n, (i) => ({ ...tree.roots[0], ...(i === n - 1 ? {} : { root: hex(i) }) }))), 64, "accepted"],
  ["notices of a state", "newer than the state", "state", (n) => inState((root) => void (root.withdrawals = [listOf(many(n, hex), [])])), 4096, "accepted"],
  ["dropped notices of a state", "newer than the state", "state", (n) => inState((root) => void (root.withdrawals = [listOf([], many(n, hex))])), 65536, "accepted"],
  ["returns of a state", "newer than the state", "state", (n) => inState((root) => void (root.jobs[0].revisions[0].returns = many(n, hex))), 1000, "accepted"],
];

for (const [what, from, role, change, limit, over, within = "accepted"] of ROWS) {
  test(`${what}: at most ${limit}`, async () => {
    for (const [count, expected] of [[limit, within], [limit + 1, over]]) {
      const [checker, page] = await askBoth(changedPart(situations.get(from), role, change(count)));
      assert.deepEqual(differences(checker, page), [], `${what} ${count}`);
      assert.equal(page.reason || page.verdict, expected, `${what} ${count}`);
      // A state over its limit counts for nothing, and one that would pass it is left as it is; neither is a refusal.
      if (role === "state") assert.equal(page.codes.some((code) => ["state-damaged", "state-full"].includes(code)), count > limit, `${what} ${count}`);
    }
  });
}
