// Declared wrappings: which bytes of a file are which bytes of the image, whether a file has the form, and the way back. Taking a
// wrapping off and putting it on again gives the very same file.

import { grouped, sameBytes } from "./bytes.js";
import { Refusal } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { correctChecks } from "./correct.js";
import { makePlan } from "./plan.js";
import { failureOf, verifyChecks } from "./verify.js";
import { viewAt } from "./image.js";

function wrappingSize(form) {
  return form.blocks.reduce((size, block) => size + block.size, 0);
}

// Parts of the image in the file, in its order: [{at, memory, range, size}].
export function wrappedParts(form) {
  let at = 0;
  return form.blocks.map((block) => {
    const part = { ...block, at };
    at += block.size;
    return part;
  }).filter((part) => part.kind === "memory");
}

// Offset of the first constant that a file as long as the form does not hold.
function wrongConstant(form, file) {
  let at = 0;
  for (const block of form.blocks) {
    if (block.kind === "constant" && !sameBytes(block.bytes, file.subarray(at, at + block.size))) return at;
    at += block.size;
  }
  return undefined;
}

// Size and constants are the form's.
export function wrappingFits(form, file) {
  return form.signature === undefined && wrappingSize(form) === file.length && wrongConstant(form, file) === undefined;
}

// A file of this form with these opaque bytes, and zeros where parts of the image belong; nothing when they are not as many.
export function emptyWrapping(form, opaque) {
  const file = new Uint8Array(wrappingSize(form));
  let at = 0;
  let taken = 0;
  for (const { kind, bytes, size } of form.blocks) {
    if (kind === "constant") file.set(bytes, at);
    if (kind === "opaque") {
      file.set(opaque.subarray(taken, taken + size), at);
      taken += size;
    }
    at += size;
  }
  return taken === opaque.length ? file : undefined;
}

export function opaqueSize(form) {
  return form.blocks.reduce((total, { kind, size }) => total + (kind === "opaque" ? size : 0), 0);
}

// Every opaque byte belongs to a slot of the wrapping's own checksums, so that wrap() makes all of them.
export function makesItsOpaqueBytes(form) {
  const made = new RangeSet();
  for (const { slots } of form.file?.checksums ?? []) {
    for (const { range } of slots) made.add(range);
  }
  let at = 0;
  return form.blocks.every(({ kind, size }) => {
    const range = { begin: at, end: at + size };
    at += size;
    return kind !== "opaque" || made.contains(range);
  });
}

// Every part of the image that the form speaks of is of this memory.
export function isFormOfMemory(form, memory) {
  return [...wrappedParts(form), ...form.omitted].every((place) => place.memory === memory);
}

// For a file that fits no form: it is as long as one, and a constant differs. Nothing when no form is so long.
export function misfitOf(map, file, name) {
  for (const form of map.forms) {
    if (form.signature !== undefined || wrappingSize(form) !== file.length) continue;
    const at = wrongConstant(form, file);
    if (at === undefined) continue;
    return new Refusal("form-unknown", { file: name, place: `offset ${grouped(at)}`, found: "other bytes than the constant there",
      expected: `form "${form.name}"`, next: "check that file and region map belong together" });
  }
  return undefined;
}

// The file as the one memory of its own map.
function imageOfFile(own, bytes) {
  const [{ name, extent }] = own.memories;
  return { memories: [{ name, extent, bytes, known: new RangeSet([extent]) }] };
}

async function asOwnFault(form, name, work) {
  try {
    return await work();
  } catch (fault) {
    if (!(fault instanceof Refusal)) throw fault;
    throw new Refusal("form-checksum", { file: name, place: `form "${form.name}", ${fault.place}`, found: fault.found, expected: fault.expected,
      next: "get the file again from whoever wrote it: it was damaged, or changed without its wrapping" });
  }
}

// The wrapping's own checksums hold; throws for the first that does not. `file` fits.
export function verifyWrapping(form, file, name) {
  return asOwnFault(form, name, async () => {
    if (form.file === undefined) return;
    const image = imageOfFile(form.file, file);
    const plan = makePlan(form.file, image);
    for (const outcome of await verifyChecks(plan, image)) {
      if (outcome.state === "fails") throw failureOf(plan, outcome);
      if (outcome.state !== "holds") throw new Refusal("form-checksum", { place: outcome.name });
    }
  });
}

// The file with the parts of `image`, and its own checksums right; everything else is that of `original`, which fits and is
// verified.
export async function wrap(form, original, image, name) {
  const out = original.slice();
  for (const part of wrappedParts(form)) out.set(viewAt(image, part), part.at);
  if (form.file === undefined) return out;
  await asOwnFault(form, name, () => {
    const file = imageOfFile(form.file, out);
    return correctChecks(makePlan(form.file, file), file, false);
  });
  return out;
}
