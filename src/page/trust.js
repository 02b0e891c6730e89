// The trust file: whom the shop's root lets sign what, since when, and how many signatures a bundle needs.

import { isDigest, printable } from "./bytes.js";
import { checkKey, keyId, verifySignature } from "./key.js";
import { Refusal } from "./reason.js";
import {
  choiceOf, DIGEST, integerOf, isAscending, LINE, listOf, MAYBE_DIGEST, MAYBE_TIME, NAME, objectOf, parseTime, readCanonicalAs,
  TIME, VALUE,
} from "./schema.js";
import { readSpokenCode, SPOKEN, spokenCode, spokenDifference, withoutSeparatorsAround } from "./spoken_code.js";
import { readStatement } from "./statement.js";

export const TRUST_FILE_MOST = 2 ** 18;
const SCOPE_MOST = 256;
const ROLES = ["author", "ledger", "map-author", "reviewer", "sheet", "withdrawal"];

// 64 digits, as a digest has them.
export const PUBLIC_KEY = DIGEST;
export const TREE_HEAD = objectOf(["size", integerOf(1)], ["root_hash", DIGEST]);
const TRUSTED_KEY = objectOf(
  ["id", DIGEST],
  ["public_key", PUBLIC_KEY],
  ["name", LINE],
  ["roles", listOf(choiceOf(...ROLES), ROLES.length)],
  ["jobs", listOf(NAME, SCOPE_MOST)],
  ["controllers", listOf(NAME, SCOPE_MOST)],
  ["region_maps", listOf(DIGEST, SCOPE_MOST)],
  ["valid_from", TIME],
  ["valid_until", MAYBE_TIME],
  ["state", choiceOf("active", "compromised")],
);
const TRUST_FILE = objectOf(
  ["calseal", VALUE],
  ["version", integerOf(1)],
  ["shop", LINE],
  ["root", PUBLIC_KEY],
  ["claimed_time", TIME],
  ["next_root", MAYBE_DIGEST],
  ["ledger_heads", listOf(TREE_HEAD, 64)],
  ["policy", objectOf(["threshold", integerOf(1, 8)])],
  ["keys", listOf(TRUSTED_KEY, 64)],
);

function trustInvalid(name, place, found, expected) {
  return new Refusal("trust-invalid", {
    file: name, place, found, expected, next: "do not use this trust file; ask the shop for a new one",
  });
}

// Which of `rootIds` is the root that a person stated: the fingerprint that was read to him, or the 64 digits of a key id; -1: none.
export function statedIndex(rootIds, stated) {
  const digest = withoutSeparatorsAround(stated);
  const heard = readSpokenCode(stated, SPOKEN.key);
  return rootIds.findIndex((id) => (isDigest(digest) ? id === digest : heard.code === spokenCode(SPOKEN.key, id)));
}

// `rootIds`: the newest last.
export function checkStatedRoot(rootIds, stated, name) {
  if (statedIndex(rootIds, stated) >= 0) return;
  const digest = withoutSeparatorsAround(stated);
  const heard = readSpokenCode(stated, SPOKEN.key);
  const found = spokenCode(SPOKEN.key, rootIds.at(-1));
  let expected = `"${printable(stated, 80)}": ${heard.fault}`;
  if (isDigest(digest)) expected = spokenCode(SPOKEN.key, digest);
  else if (heard.fault === "") expected = `${heard.code}: ${spokenDifference(found, heard.code)}`;
  throw new Refusal("root-mismatch", {
    file: name,
    place: "root",
    found,
    expected,
    next: "compare the fingerprint again with the shop, by telephone or in person",
  });
}

async function checkListedKey(trust, i, name) {
  const key = trust.keys[i];
  const demand = (holds, found, expected) => {
    if (!holds) throw trustInvalid(name, `/keys/${i}`, found, expected);
  };
  demand(key.id === (await keyId(key.public_key)), key.id, "the id of its public key");
  demand(i === 0 || trust.keys[i - 1].id < key.id, "a key out of order or twice", "keys ascending by id");
  demand(key.public_key !== trust.root, "the root", "signing keys only");
  demand(key.roles.length > 0 && isAscending(key.roles), "no role, or roles out of order", "roles ascending, each once");
  const scopes = [key.jobs, key.controllers, key.region_maps];
  demand(scopes.every((scope) => isAscending(scope)), "a scope out of order", "scopes ascending, each entry once");
  const ends = key.valid_until === "" || parseTime(key.valid_until) > parseTime(key.valid_from);
  demand(ends, key.valid_until, `a time after ${key.valid_from}`);
}

// Gives the fields, and besides `rootId` and `text`, the signed bytes.
export async function readTrustFile(bytes, statedRoot, name) {
  const { text, signatures } = readStatement(bytes, "trust/1", TRUST_FILE_MOST, "trust-invalid", name);
  const trust = readCanonicalAs("trust-invalid", text, TRUST_FILE, name);
  checkKey(trust.root, name);
  const rootId = await keyId(trust.root);
  if (statedRoot !== "") checkStatedRoot([rootId], statedRoot, name);
  if (signatures.length !== 1 || signatures[0].keyId !== rootId) {
    throw trustInvalid(name, "line 2", "other signatures", `exactly one, by the root ${rootId}`);
  }
  if (!(await verifySignature(trust.root, text, signatures[0].signature))) {
    throw trustInvalid(name, "line 2", "a signature that does not verify", "the root's signature over the first line");
  }
  for (const key of trust.keys) checkKey(key.public_key, name);
  for (const i of trust.keys.keys()) await checkListedKey(trust, i, name);
  if (!isAscending(trust.ledger_heads, (head) => head.size)) {
    throw trustInvalid(name, "/ledger_heads", "a head out of order or a size twice", "heads ascending by size");
  }
  return { ...trust, rootId, text };
}
