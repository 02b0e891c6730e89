// Does a read belong to this bundle's base and vehicle?

import { printable, rangeText } from "./bytes.js";
import { sha256 } from "./digest.js";
import { Refusal } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { requireWholePatches } from "./compare.js";
import { saltedDigest } from "./claims.js";
import { isPinned } from "./plan.js";
import { viewOf } from "./image.js";

export function memoryNamed(image, name) {
  return image.memories.find((memory) => memory.name === name);
}

// Every pinned and binding byte that the base knows is known to the read, so that the read's own file can hold the result.
function matchKnown(controller, read) {
  for (const { memory, range, kind } of controller.spans) {
    const { known } = controller.memories.find(({ name }) => name === memory);
    const isKnownInBase = known.some(({ begin, end }) => begin <= range.begin && range.end <= end);
    if (!isKnownInBase || (!isPinned(kind) && kind !== "binding")) continue;
    const missing = new RangeSet([range]);
    missing.removeAll(memoryNamed(read, memory).known);
    if (missing.empty) continue;
    throw new Refusal("read-incomplete", { place: `${memory} ${rangeText(missing.ranges[0])}`,
      found: "bytes that the read does not hold", expected: "every byte that is matched or written",
      next: "read the controller again, with all the memories of the first read" });
  }
}

// `image` is the read with the payload laid over it and cut to what the base knows; `read` is the read as it came.
export async function matchBase(opened, read, image) {
  const [controller] = opened.manifest.controllers;
  matchKnown(controller, read);
  for (const { memory, range, kind, after } of controller.spans) {
    if (kind !== "locked" || after === "") continue;
    if ((await sha256(viewOf(memoryNamed(image, memory), range))) === after) continue;
    throw new Refusal("read-foreign", { place: `${memory} ${rangeText(range)}`, found: "locked bytes that differ",
      expected: `the locked bytes of base ${opened.manifest.base.number} of job ${opened.manifest.job}`,
      next: "do not write: check that read and bundle belong to the same controller, and ask the shop" });
  }
  requireWholePatches(opened.map, read);
}

// "proved" or "by-reference".
export async function matchVehicle(opened, read, { salt, vehicleReference }) {
  const { manifest, map } = opened;
  const { binding } = manifest.controllers[0];
  if (vehicleReference !== "" && vehicleReference !== manifest.vehicle_reference) {
    const stated = manifest.vehicle_reference;
    throw new Refusal("vehicle-reference", { place: "vehicle_reference", found: `"${printable(vehicleReference)}"`,
      expected: stated === "" ? "none, as in the manifest" : `"${printable(stated)}"`,
      next: "check that this bundle is for the vehicle in front of you" });
  }
  if (salt && manifest.salt_digest !== "") {
    const found = await sha256(salt);
    if (found !== manifest.salt_digest) {
      throw new Refusal("salt-wrong", { place: "salt", found: `a salt with SHA-256 ${found}`, expected: manifest.salt_digest,
        next: "use the salt file that the shop gave you for this job" });
    }
  }
  let isProved = false;
  for (const claim of binding) {
    if (claim.digest === "" || !salt || manifest.salt_digest === "") continue;
    const field = map.identity.find(({ binds, name }) => binds && name === claim.name);
    if (field === undefined || map.memories[field.memory].name !== claim.memory || field.range.begin !== claim.range.begin ||
        field.range.end !== claim.range.end) {
      throw new Refusal("claim-mismatch", { place: `binding ${claim.name}`, found: "a field that the region map does not bind",
        expected: "the region map's binding fields", next: "do not use this bundle; tell the shop" });
    }
    if ((await saltedDigest(salt, map, field, read)) !== claim.digest) {
      throw new Refusal("vehicle-mismatch", { place: `binding ${claim.name}`, found: "another value in the read",
        expected: "the value of the vehicle that this bundle is for",
        next: "do not write: the read is from another vehicle, or a part of the controller was exchanged; ask the shop" });
    }
    isProved = true;
  }
  if (isProved) return "proved";
  if (vehicleReference !== "") return "by-reference";
  const found = binding.length === 0 ? "no binding field in the region map"
    : binding.some(({ digest }) => digest !== "") ? "binding fields, but no salt to compare them"
      : "binding fields that were blank or sealed without salt";
  throw new Refusal("vehicle-not-provable", { place: "binding", found, expected: "a binding field that matches, or the vehicle reference",
    next: "give the salt file of this job; or, if the shop confirms, the vehicle reference" });
}
