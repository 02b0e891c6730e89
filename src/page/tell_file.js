// What a file is, told by its content; by its name only where it is damaged so that its content tells nothing.

import { decodeUtf8, isDigest, latin1, readLittle, startsWith } from "./bytes.js";

// By the word after {"calseal":" in the first line.
const STATEMENT_KINDS = {
  "trust": "trust", "withdrawal": "withdrawals", "job-list": "jobList", "succession": "successions", "inclusion": "inclusion", "state": "state",
  "customer": "customer",
};
const ENDINGS = { ".calseal": "bundle", ".salt": "salt", ".state": "state", ".customer": "customer" };
const SALT_BYTES_MOST = 80;

function firstEntryName(bytes) {
  return latin1(bytes.subarray(30, 30 + readLittle(bytes, 26, 2)));
}

function isSalt(bytes) {
  return bytes.length <= SALT_BYTES_MOST && isDigest((decodeUtf8(bytes) ?? "").trim().toLowerCase());
}

// "bundle", "zip", "salt", one of the kinds above, "foreign" for a file of calseal that has no place here, "page" for a web page,
// "empty", "records" or "raw" for what can only be a read.
export function tellFile({ name, bytes }) {
  if (startsWith(bytes, "PK\u0003\u0004") && bytes.length > 30) return firstEntryName(bytes) === "manifest.json" ? "bundle" : "zip";
  const statement = /^\{"calseal":"([a-z-]+)\//.exec(latin1(bytes.subarray(0, 64)));
  if (statement !== null) return STATEMENT_KINDS[statement[1]] ?? "foreign";
  if (isSalt(bytes)) return "salt";
  const ending = Object.keys(ENDINGS).find((one) => name.toLowerCase().endsWith(one));
  if (ending !== undefined) return ENDINGS[ending];
  if (bytes.length === 0) return "empty";
  if (/^\s*<(!doctype|html)/i.test(latin1(bytes.subarray(0, 64)))) return "page";
  return /^\s*(:[0-9a-f]{8}|S[0-9][0-9a-f]{6})/i.test(latin1(bytes.subarray(0, 64))) ? "records" : "raw";
}
