// Proof that the shop's ledger held a revision before a key was stolen: RFC 9162, Merkle trees with SHA-256.

import { concatBytes, fromHex, printable, startsWith, utf8 } from "./bytes.js";
import { hmacSha256, sha256 } from "./digest.js";
import { INTEGER_LIMIT } from "./json.js";
import { Refusal } from "./reason.js";
import {
  checkKind, choiceOf, DIGEST, integerOf, listOf, literalOf, objectOf, readCanonicalAs, textOf, TIME, VALUE,
} from "./schema.js";
import { checkFileSize } from "./statement.js";
import { TREE_HEAD } from "./trust.js";

export const INCLUSION_MOST = 65536;
const INCLUSION_CODE = "inclusion-invalid";
const INCLUSION = objectOf(
  ["calseal", VALUE], ["entry", textOf(8192)], ["salt", DIGEST], ["head", TREE_HEAD],
  ["index", integerOf(0, INTEGER_LIMIT)], ["path", listOf(DIGEST, 64)],
);
const SEALED_ENTRY = objectOf(["calseal", VALUE], ["kind", choiceOf("sealed")], ["claimed_time", TIME], ["subject", DIGEST]);

function inclusionInvalid(name, place, found, expected) {
  return new Refusal(INCLUSION_CODE, { file: name, place, found, expected, next: "ask the shop for the proof of this very revision" });
}

export function readInclusion(bytes, name) {
  checkFileSize(bytes, INCLUSION_MOST, name);
  checkKind(bytes, "inclusion/1", name);
  if (bytes.at(-1) !== 0x0a) throw inclusionInvalid(name, "line 1", "no line end", "one line, ended by LF");
  return readCanonicalAs(INCLUSION_CODE, bytes.subarray(0, -1), INCLUSION, name);
}

function nodeHash(left, right) {
  return sha256(concatBytes([[1], fromHex(left), fromHex(right)]));
}

// RFC 9162 section 2.1.3.2, with its names; numbers up to 2^53 need more than 32 bits.
async function leadsToHead(leaf, index, path, head) {
  if (index >= head.size) return false;
  let fn = BigInt(index);
  let sn = BigInt(head.size) - 1n;
  let r = leaf;
  for (const p of path) {
    if (sn === 0n) return false;
    if (fn % 2n === 1n || fn === sn) {
      r = await nodeHash(p, r);
      while (fn % 2n === 0n && fn !== 0n) {
        fn >>= 1n;
        sn >>= 1n;
      }
    } else {
      r = await nodeHash(r, p);
    }
    fn >>= 1n;
    sn >>= 1n;
  }
  return sn === 0n && r === head.root_hash;
}

// The line is of the one form, names this revision, and lies under a head that the trust file pins.
export async function checkInclusion(proof, manifestDigest, pinnedHeads, name) {
  const line = utf8(proof.entry);
  const literal = literalOf("entry/1");
  if (!startsWith(line, literal)) throw inclusionInvalid(name, "entry", `"${printable(proof.entry, 60)}"`, literal);
  const entry = readCanonicalAs(INCLUSION_CODE, line, SEALED_ENTRY, name);
  const subject = await hmacSha256(fromHex(proof.salt), fromHex(manifestDigest));
  if (entry.subject !== subject) throw inclusionInvalid(name, "entry", `subject ${entry.subject}`, `${subject}, which is this revision`);
  const { size, root_hash: rootHash } = proof.head;
  if (!pinnedHeads.some((head) => head.size === size && head.root_hash === rootHash)) {
    throw inclusionInvalid(name, "head", `${size} entries, ${rootHash}`, "a head that the trust file pins");
  }
  const leaf = await sha256(concatBytes([[0], line]));
  if (!(await leadsToHead(leaf, proof.index, proof.path, proof.head))) {
    throw inclusionInvalid(name, "path", "a path that does not lead from the entry to the head", `the audit path of entry ${proof.index}`);
  }
}
