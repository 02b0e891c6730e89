// The files of a request, before anything is judged: their sizes, and the salt.

import { decodeUtf8, fromHex, isDigest } from "./bytes.js";
import { INCLUSION_MOST } from "./inclusion.js";
import { Refusal } from "./reason.js";
import { checkFileSize } from "./statement.js";
import { STATE_MOST } from "./state.js";
import { JOB_LIST_MOST, WITHDRAWALS_MOST } from "./statements.js";
import { SUCCESSION_MOST } from "./succession.js";
import { TRUST_FILE_MOST } from "./trust.js";

const READ_MOST = 2 ** 30;
const SALT_FILE_MOST = 4096;

// The salt's 32 bytes: 64 digits, and one line end at most.
export function parseSalt({ bytes, name }) {
  const text = (decodeUtf8(bytes) ?? "").replace(/\n$/, "").replace(/\r$/, "");
  if (isDigest(text)) return fromHex(text);
  throw new Refusal("salt-wrong", {
    file: name,
    found: `${text.length} characters`,
    expected: "64 lower-case hexadecimal digits",
    next: "use the salt file that the shop gave you for this job",
  });
}

// A file without bytes is a failed download, whatever it should have been, and one that is larger than anything of its kind is not
// looked at. Only a state may begin empty.
export function checkFiles({ trust, successions, bundle, reads, partners, withdrawals, jobList, inclusion, newest, state, salt }) {
  const some = (file, most) => (file === null ? [] : [[file, most]]);
  const limits = [
    [trust, TRUST_FILE_MOST],
    ...successions.map((file) => [file, SUCCESSION_MOST]),
    [bundle, Infinity], // its size is the first of the normative checks
    ...reads.map((file) => [file, READ_MOST]),
    ...partners.map((file) => [file, Infinity]),
    ...some(withdrawals, WITHDRAWALS_MOST),
    ...some(jobList, JOB_LIST_MOST),
    ...some(inclusion, INCLUSION_MOST),
    ...some(newest, Infinity),
    ...some(state, STATE_MOST),
    ...some(salt, SALT_FILE_MOST),
  ];
  for (const [file, most] of limits) {
    checkFileSize(file.bytes, most, file.name);
    if (file.bytes.length > 0 || file === state) continue;
    throw new Refusal("file-empty", { file: file.name, found: "0 bytes", expected: "a file with content", next: "get the file again" });
  }
}
