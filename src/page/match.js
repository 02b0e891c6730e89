// Step match of docs/proof.md: the read, as it came, is from a controller with the base's software, of this family, from this
// vehicle. `proof` is what proof.js makes.

import { printable } from "./bytes.js";
import { sha256 } from "./digest.js";
import { Refusal } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { recogniseFamily } from "./identity.js";
import { brokenPatch, PatchLayer, patchState } from "./patches.js";
import { isPinned } from "./plan.js";
import { placeText } from "./place.js";
import { saltedDigest } from "./salted_digest.js";

// 1. Every byte that is matched or written is known, so that the read's own file can hold the result. Binding fields are asked for
// where they are to be compared.
export function matchComplete({ map, spans, read, words }, binding = true) {
  for (const { memory, range, kind, known } of spans) {
    if (!known || (!isPinned(kind) && !(binding && kind === "binding"))) continue;
    const missing = new RangeSet([range]);
    missing.removeAll(read.image.memories[memory].known.within(range));
    if (missing.empty) continue;
    throw new Refusal("read-incomplete", { place: placeText(map, { memory, range: missing.ranges[0] }),
      found: `bytes that ${words.read} does not hold`, expected: "every byte that is matched or written",
      next: "read the controller again, with all the memories of the first read" });
  }
}

// 2. The locked bytes are those of the result, whichever way a permitted patch stands in the read.
export async function matchLocked({ map, manifest, claims, spans, read }) {
  const patches = new PatchLayer(map, claims.patches.map(({ result }) => result));
  for (const span of spans) {
    if (!span.known || span.kind !== "locked") continue;
    if ((await sha256(patches.over(read.image, span))) === span.after) continue;
    throw new Refusal("read-foreign", { place: placeText(map, span), found: "locked bytes that differ",
      expected: `the locked bytes of base ${manifest.base.number} of job ${manifest.job}`,
      next: "do not write: check that read and bundle belong to the same controller, and ask the shop" });
  }
}

// 3. In map order.
export function matchPatches({ map, read }) {
  for (const patch of map.patches) {
    if (patchState(patch, read.image) === "broken") throw brokenPatch(map, patch, read.image);
  }
}

// 4. On all that the read knows, also where the base knew less.
function matchFamily({ map, read }) {
  recogniseFamily(map, read.image);
}

function matchReference({ manifest, evidence: { vehicleReference } }) {
  const stated = manifest.vehicle_reference;
  if (vehicleReference === "" || vehicleReference === stated) return;
  throw new Refusal("vehicle-reference", { place: "vehicle_reference", found: `"${printable(vehicleReference)}"`,
    expected: stated === "" ? "none, as in the manifest" : `"${printable(stated)}"`,
    next: "check that this bundle is for the vehicle in front of you" });
}

export async function matchSalt({ manifest, evidence: { salt } }) {
  if (!salt || manifest.salt_digest === "") return;
  const found = await sha256(salt);
  if (found === manifest.salt_digest) return;
  throw new Refusal("salt-wrong", { place: "salt", found: `a salt with SHA-256 ${found}`, expected: manifest.salt_digest,
    next: "use the salt file that the shop gave you for this job" });
}

// How many binding fields were compared, and found to be those of this vehicle.
async function matchBinding({ map, manifest, claims, read, evidence: { salt }, words }) {
  if (!salt || manifest.salt_digest === "") return 0;
  const fields = map.identity.filter(({ binds }) => binds);
  let compared = 0;
  for (const [i, { name, digest }] of claims.binding.entries()) {
    if (digest === "") continue;
    if ((await saltedDigest(salt, map, fields[i], read.image)) !== digest) {
      throw new Refusal("vehicle-mismatch", { place: `binding ${name}`, found: `another value in ${words.read}`,
        expected: "the value of the vehicle that this bundle is for",
        next: "do not write: the read is from another vehicle, or a part of the controller was exchanged; ask the shop" });
    }
    ++compared;
  }
  return compared;
}

// 5. "proved" or "by-reference".
export async function matchVehicle(proof) {
  matchReference(proof);
  await matchSalt(proof);
  const { binding } = proof.claims;
  if ((await matchBinding(proof)) > 0) return "proved";
  if (proof.evidence.vehicleReference !== "") return "by-reference";
  const found = binding.length === 0 ? "no binding field in the region map"
    : binding.some(({ digest }) => digest !== "") ? "binding fields, but no salt to compare them"
      : "binding fields that were blank or sealed without salt";
  throw new Refusal("vehicle-not-provable", { place: "binding", found, expected: "a binding field that matches, or the vehicle reference",
    next: "give the salt file of this job; or, if the shop confirms, the vehicle reference" });
}

export async function proveMatch(proof) {
  matchComplete(proof);
  await matchLocked(proof);
  matchPatches(proof);
  matchFamily(proof);
  proof.vehicle = await matchVehicle(proof);
}
