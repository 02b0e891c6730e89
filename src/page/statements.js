// What the shop says about its revisions: which it has withdrawn, which of a job it stands by, and which change of its rules.

import { printable, utf8 } from "./bytes.js";
import { verifySigners, judgeStatementTrust } from "./judge.js";
import { BASE_NUMBER, REVISION_NUMBER, SEQUENCE_NUMBER } from "./manifest.js";
import { Refusal } from "./reason.js";
import {
  choiceOf, DIGEST, integerOf, isAscending, LINE, listOf, MAYBE_DIGEST, NAME, objectOf, readCanonicalAs, TIME, VALUE,
} from "./schema.js";
import { readStatement } from "./statement.js";

export const WITHDRAWALS_MOST = 2 ** 22;
export const JOB_LIST_MOST = 2 ** 20;
export const NOTICES_MOST = 4096;
const APPROVAL_MOST = 2 ** 14;
const WITHDRAWALS = objectOf(
  ["calseal", VALUE],
  ["root", DIGEST],
  ["number", integerOf(1)],
  ["claimed_time", TIME],
  ["fresh_until", TIME],
  ["notices", listOf(objectOf(
    ["revision", DIGEST], ["job", NAME], ["controller", NAME],
    ["class", choiceOf("commercial", "error", "replaced", "safety")],
    ["action", choiceOf("do-not-write", "go-back")],
    ["go_to", MAYBE_DIGEST], ["text", LINE],
  ), NOTICES_MOST)],
);
const JOB_LIST = objectOf(
  ["calseal", VALUE],
  ["root", DIGEST],
  ["job", NAME],
  ["controller", NAME],
  ["claimed_time", TIME],
  ["revisions", listOf(
    objectOf(["digest", DIGEST], ["base", BASE_NUMBER], ["revision", REVISION_NUMBER], ["sequence", SEQUENCE_NUMBER]), 4096,
  )],
);
const APPROVAL = objectOf(
  ["calseal", VALUE], ["controller", NAME], ["from", DIGEST], ["to", DIGEST], ["claimed_time", TIME], ["text", LINE],
);

export const placeOf = (id) => `signature of ${id}`;

// Verified before it is parsed: the keys are known beforehand.
export async function readSigned(bytes, kind, most, code, type, trust, name) {
  const { text, signatures } = readStatement(bytes, kind, most, code, name);
  const signers = await verifySigners(text, signatures, trust, placeOf, name);
  const list = readCanonicalAs(code, text, type, name);
  const demand = (holds, place, found, expected) => {
    if (holds) return;
    throw new Refusal(code, { file: name, place, found, expected, next: "do not use this file; ask the shop for a new one" });
  };
  return { list, text, signers, demand };
}

// Gives the fields, and besides `text`, the signed bytes, and `keys`, the ids of those that signed it.
export async function readWithdrawals(bytes, trust, name) {
  const { list, text, signers, demand } = await readSigned(
    bytes,
    "withdrawal/1",
    WITHDRAWALS_MOST,
    "withdrawals-invalid",
    WITHDRAWALS,
    trust,
    name,
  );
  demand(list.fresh_until > list.claimed_time, "/fresh_until", list.fresh_until, `a time after ${list.claimed_time}`);
  demand(isAscending(list.notices, (notice) => notice.revision), "/notices", "a revision out of order or twice", "ascending, each once");
  for (const [i, { revision, action, go_to: goTo }] of list.notices.entries()) {
    const fits = goTo === "" || (action === "go-back" && goTo !== revision);
    demand(fits, `/notices/${i}/go_to`, goTo, "another revision, and only with the action go-back");
  }
  demand(list.root === trust.rootId, "/root", list.root, `the trust file's root ${trust.rootId}`);
  judgeStatementTrust(signers, "withdrawal", {}, list.claimed_time, placeOf, name);
  return { ...list, text, keys: signers.map(({ id }) => id) };
}

export async function readJobList(bytes, trust, name) {
  const { list, signers, demand } = await readSigned(bytes, "job-list/1", JOB_LIST_MOST, "job-list-invalid", JOB_LIST, trust, name);
  const { revisions } = list;
  demand(revisions.length > 0, "/revisions", "no revision", "at least one");
  demand(
    revisions.every(({ sequence, revision }) => sequence > revision),
    "/revisions",
    "a sequence too low",
    "more than the revision's number",
  );
  demand(
    new Set(revisions.map(({ digest }) => digest)).size === revisions.length,
    "/revisions",
    "one twice",
    "each revision once",
  );
  demand(
    isAscending(revisions, ({ sequence }) => sequence),
    "/revisions",
    "numbers out of order",
    "ascending numbers",
  );
  demand(
    revisions.every(({ base }, i) => i === 0 || base >= revisions[i - 1].base),
    "/revisions",
    "a base that falls",
    "at least the one before",
  );
  demand(list.root === trust.rootId, "/root", list.root, `the trust file's root ${trust.rootId}`);
  judgeStatementTrust(signers, "author", list, list.claimed_time, placeOf, name);
  return list;
}

// The root needs no role, scope or validity.
function withRootAsSigner(trust) {
  const root = { id: trust.rootId, public_key: trust.root, name: `the root of ${trust.shop}`, roles: ["map-author"], jobs: [], controllers: [],
    region_maps: [], valid_from: "", valid_until: "", state: "active" };
  return { ...trust, keys: [...trust.keys, root] };
}

async function readApproval(bytes, trust, name) {
  const { list: approval, signers, demand } = await readSigned(
    bytes,
    "approval/1",
    APPROVAL_MOST,
    "approval-invalid",
    APPROVAL,
    withRootAsSigner(trust),
    name,
  );
  demand(approval.from !== approval.to, "/to", approval.to, "another region map than from");
  judgeStatementTrust(signers, "map-author", { controller: approval.controller }, approval.claimed_time, placeOf, name);
  return { ...approval, signers: signers.map((key) => key.name) };
}

// Those of a manifest, as approvals.js has them. None is a fault of the bundle.
export async function readApprovals(manifest, trust, name) {
  const controller = manifest.controllers[0].name;
  const approvals = [];
  for (const [i, text] of manifest.approvals.entries()) {
    try {
      const approval = await readApproval(utf8(text), trust, `${name}:approvals/${i}`);
      const fault = approval.controller === controller ? null : `it is for controller ${approval.controller}`;
      approvals.push({ ...approval, fault });
    } catch (refusal) {
      if (!(refusal instanceof Refusal)) throw refusal;
      approvals.push({ from: "", to: "", claimed_time: "", text: "", signers: [], fault: `${refusal.code}, ${printable(refusal.found)}` });
    }
  }
  return approvals;
}
