// The pinned digest: SHA-256 over one line for each pinned span, so that nothing is hashed twice and standard tools can redo it.

import { addressText, utf8 } from "./bytes.js";
import { sha256 } from "./digest.js";
import { sizeOf } from "./place.js";

// `spans` of a manifest; `digests` one for each, "" where there is none.
export function pinnedDigest(spans, digests) {
  const lines = spans.map(({ memory, range }, i) =>
    digests[i] === "" ? "" : `${memory} ${addressText(range.begin)} ${sizeOf(range)} ${digests[i]}\n`);
  return sha256(utf8(lines.join("")));
}
