// What the customer's side says back about a revision that it judged: docs/ledger.md, "receipt/1".

import { toHex, utf8 } from "./bytes.js";
import { customerKey } from "./customer_file.js";
import { hmacSha256 } from "./digest.js";
import { keyId } from "./key.js";
import { canonicalText, choiceOf, DIGEST, integerOf, NAME, objectOf, textOf, TIME, VALUE } from "./schema.js";
import { SPOKEN, spokenCode } from "./spoken_code.js";

const RECEIPT = objectOf(
  ["calseal", VALUE],
  ["key", DIGEST],
  ["revision", DIGEST],
  ["job", NAME],
  ["controller", NAME],
  ["outcome", choiceOf("accepted", "refused", "authentic")],
  ["reason", textOf(64)],
  ["vehicle", choiceOf("none", "proved", "by-reference", "asserted")],
  ["head", objectOf(["size", integerOf(0)], ["root_hash", DIGEST])],
  ["claimed_time", TIME],
);
const NO_HEAD = { size: 0, root_hash: "0".repeat(64) };  // a page has no ledger's heads to compare with

const CODE = objectOf(["calseal", VALUE], ["outcome", choiceOf("accepted", "authentic")], ["revision", DIGEST]);

// To be read aloud: that a checker with the job's salt judged this manifest and did not refuse it. "" without salt.
export async function receiptCode({ manifestDigest, outcome }, salt) {
  if (salt === null || outcome === "refused") return "";
  const text = canonicalText(CODE, { calseal: "receipt-code/1", outcome, revision: manifestDigest });
  return spokenCode(SPOKEN.receipt, await hmacSha256(salt, utf8(text)));
}

// Of a verdict whose manifest was read; the text of the file.
export async function signReceipt(seed, { manifest, manifestDigest, outcome, reason, vehicle }, time) {
  const key = await customerKey(seed);
  const text = canonicalText(RECEIPT, {
    calseal: "receipt/1", key: key.publicKey, revision: manifestDigest, job: manifest.job, controller: manifest.controllers[0].name,
    outcome, reason: reason?.code ?? "", vehicle, head: NO_HEAD, claimed_time: time,
  });
  return `${text}\n${await keyId(key.publicKey)} ${toHex(await key.sign(utf8(text)))}\n`;
}
