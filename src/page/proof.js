// The proof of docs/proof.md: from a bundle that was opened and a read to the image that may be written, step by step.
//
// The steps hand one `proof` on: {opened, map, manifest, claims (of the one controller), spans, baseKnown, read, cut, evidence, words,
// cautions}, to which they add vehicle, plan, shape, areas, written (the write ranges), editableShare, result and bytesToChange. `spans` are the manifest's, their
// `memory` an index, `known` whether the base knew them; `cut` is the read with only those bytes known that the base knew.

import { proveChecksums } from "./checksums.js";
import { proveClaims } from "./claims.js";
import { proveConfinement } from "./confinement.js";
import { spanPlaces } from "./contents_claims.js";
import { proveFreshness } from "./freshness.js";
import { withKnown } from "./image.js";
import { proveMatch } from "./match.js";
import { RangeSet } from "./range_set.js";
import { renderRead } from "./read.js";
import { rebuildResult } from "./rebuild.js";

const PROOF_STEPS = [
  ["match", proveMatch], ["claims", proveClaims], ["freshness", proveFreshness], ["rebuild", rebuildResult],
  ["confinement", proveConfinement], ["checksums", proveChecksums],
];

export function beginProof(opened, read, evidence, words) {
  const { map, manifest } = opened;
  const [claims] = manifest.controllers;
  const baseKnown = claims.memories.map(({ known }) => new RangeSet(known));
  const spans = spanPlaces(opened).map((span) => ({ ...span, known: baseKnown[span.memory].contains(span.range) }));
  const cut = withKnown(read.image, read.image.memories.map(({ known }, i) => known.intersect(baseKnown[i])));
  return { opened, map, manifest, claims, spans, baseKnown, read, cut, evidence, words, cautions: [] };
}

// `words.read` is what the read is called; `note(step)` is called when a step has passed.
export async function prove(opened, read, evidence, words, note) {
  const proof = beginProof(opened, read, evidence, words);
  for (const [name, step] of PROOF_STEPS) {
    await step(proof);
    note(name);
  }
  return proof;
}

// What a verdict says of a proof, with the files to write.
export function provedOutcome({ vehicle, editableShare, bytesToChange, cautions }, files) {
  return { vehicle, editableShare, bytesToChange, cautions, files };
}

// The result in the form of the read's own files.
export async function rebuild(opened, read, evidence, note) {
  const proof = await prove(opened, read, evidence, { read: "the read" }, note);
  return provedOutcome(proof, await renderRead(opened.map, read, proof.result));
}
