// Step rebuild of docs/proof.md: the result, byte for byte.

import { sha256 } from "./digest.js";
import { claimMismatch, Refusal } from "./reason.js";
import { correctFloating } from "./correct.js";
import { copyImage, putBytes, viewAt, withKnown } from "./image.js";
import { PatchLayer } from "./patches.js";
import { eachCarried } from "./payload.js";
import { placeText } from "./place.js";

// 1. The areas alone: whatever else a full payload carries, the vehicle keeps its own bytes.
function layPayload({ opened, areas, read, cut }) {
  const image = withKnown(copyImage(read.image), cut.memories.map(({ known }) => known));
  eachCarried(opened, (memory, range, bytes) => {
    for (const { begin, end } of areas[memory].within(range).ranges) {
      putBytes(image, { memory, range: { begin, end } }, bytes.subarray(begin - range.begin, end - range.begin));
    }
  });
  return image;
}

// 3. Locked bytes without a patch are those that step match has compared.
async function pinnedSpansAreSealed({ map, claims, spans, result }) {
  const patches = new PatchLayer(map, claims.patches.map((patch) => patch.result));
  for (const span of spans) {
    if (span.after === "" || (span.kind === "locked" && !patches.touches(span))) continue;
    const found = await sha256(viewAt(result, span));
    if (found === span.after) continue;
    throw new Refusal("result-mismatch", { place: placeText(map, span), found: `SHA-256 ${found}`, expected: `SHA-256 ${span.after}`,
      next: "do not write; get the bundle again, and read the controller again" });
  }
}

// 4. Of a later revision; where there are any, every byte of every memory is pinned.
async function filesAreRebuilt({ manifest, claims, result }) {
  if (manifest.revision === 0) return;
  for (const [i, { digest }] of claims.files.entries()) {
    const found = await sha256(result.memories[i].bytes);
    if (found !== digest) throw claimMismatch(`controllers/0/files/${i}/digest`, digest, `SHA-256 ${found} as rebuilt`);
  }
}

export async function rebuildResult(proof) {
  proof.result = layPayload(proof);
  await correctFloating(proof.plan, proof.result); // 2.
  await pinnedSpansAreSealed(proof);
  await filesAreRebuilt(proof);
}
