// What a read that does not fit most likely is, in words for the person who holds it. Nothing is decided here: the reason
// stays what it was.

import { bytesText, grouped, printable } from "./bytes.js";
import { regionOf } from "./compare.js";
import { sha256 } from "./digest.js";
import { readIdentity, recogniseRule } from "./identity.js";
import { memoryNamed, segmentTotal, viewOf } from "./image.js";
import { PatchLayer } from "./patches.js";
import { memoryIndexOf, rangeHolds } from "./place.js";
import { isPinned } from "./plan.js";
import { RangeSet } from "./range_set.js";
import { loadRead } from "./read.js";
import { describeRefusal, Refusal } from "./reason.js";

const READ_REASONS = ["read-foreign", "read-incomplete", "image-size", "image-outside", "memory-missing", "memory-unknown", "form-unknown"];

function reworded(refusal, words) {
  return new Refusal(refusal.code, { ...describeRefusal(refusal), ...words });
}

function bundleFor({ map }) {
  return `controller ${map.controller} (region map ${map.name} version ${map.version})`;
}

function lockedSpans(manifest) {
  return manifest.controllers[0].spans.filter(({ kind, after }) => kind === "locked" && after !== "");
}

async function digestIn(image, { memory, range }) {
  const found = memoryNamed(image, memory);
  return found !== undefined && found.known.contains(range) ? sha256(viewOf(found, range)) : null;
}

// Whether these locked bytes would be just as good for another bundle.
async function fits(manifest, image) {
  const spans = lockedSpans(manifest);
  for (const span of spans) {
    const digest = await digestIn(image, span);
    if (digest !== span.before && digest !== span.after) return false;
  }
  return spans.length > 0;
}

// Every identity field that the image knows, that every revision of the base has alike, and its sealed text as `said`.
export function lockedIdentity({ manifest, map }, image) {
  const { identity, spans } = manifest.controllers[0];
  return readIdentity(map, image).flatMap((value) => {
    const { field, known } = value;
    const claim = identity.find(({ name }) => name === field.name);
    const locked = new RangeSet(
      spans
        .filter(({ kind, memory }) => kind === "locked" && memory === map.memories[field.memory].name)
        .map(({ range }) => range),
    );
    if (!known || field.binds || claim === undefined || claim.text === "" || !locked.contains(field.range)) return [];
    return [{ ...value, said: claim.text }];
  });
}

// "software 1037 is 1040" of every such field that says otherwise; a permitted patch may do that.
function otherSoftware(opened, image) {
  const { manifest, map } = opened;
  const laid = new PatchLayer(map, manifest.controllers[0].patches.map(({ result }) => result));
  return lockedIdentity(opened, image).filter(({ field, text, said }) => text !== said && !laid.touches(field)).map(({ field, text, blank, said }) =>
    `${printable(field.name, 64)} is ${blank ? "blank" : printable(text, 64)}, not ${printable(said, 64)}`);
}

function isOtherFamily(map, image) {
  // By bytes alone: an unknown software number is not another family.
  const bytesOnly = { ...map, recognition: { ...map.recognition, softwareNumbers: [] } };
  try {
    recogniseRule(bytesOnly, image);
  } catch (fault) {
    if (fault instanceof Refusal) return fault.code === "family-mismatch";
    throw fault;
  }
  return false;
}

// Whether every changed editable span is as in the base, or as in this revision.
export async function calibrationText({ manifest }, image) {
  const changed = manifest.controllers[0].spans.filter(({ kind, before, after }) => kind === "editable" && before !== after);
  const digests = await Promise.all(changed.map((span) => digestIn(image, span)));
  if (changed.length === 0) return "";
  if (changed.every(({ before }, i) => digests[i] === before)) return "; its calibration is that of the base";
  if (changed.every(({ after }, i) => digests[i] === after)) return "; its calibration is already that of this revision";
  return "; its calibration is neither that of the base nor of this revision";
}

async function explainForeign(refusal, opened, image) {
  const { manifest, map } = opened;
  const differing = [];
  for (const span of lockedSpans(manifest)) {
    const digest = await digestIn(image, span);
    // A patch that the read has not yet is no fault of the read.
    if (digest !== null && digest !== span.after && digest !== span.before) differing.push(span);
  }
  if (differing.length === 0) return refusal;
  const regions = new Set(differing.map(({ memory, range }) => {
    const region = regionOf(map, { memory: memoryIndexOf(map, memory), range });
    return region ? `region ${region}` : "bytes without a region";
  }));
  const total = lockedSpans(manifest).length;
  const where = `${differing.length} of ${total} locked spans differ, in ${[...regions].slice(0, 5).join(", ")}`;
  const isErased = ({ memory, range }) => {
    const bytes = viewOf(memoryNamed(image, memory), range);
    return bytes.every((byte) => byte === 0xff) || bytes.every((byte) => byte === 0x00);
  };
  if (differing.every(isErased)) {
    const next = "the tool did not read these places, or they are erased: read the controller again, whole";
    return reworded(refusal, { found: `erased bytes where software should be: ${where}`, next });
  }
  if (isOtherFamily(map, image)) {
    const next = "do not write: the read is of another controller or software family; check that read and bundle belong to the same controller";
    return reworded(refusal, { found: `not recognised as ${map.name}; ${where}`, expected: `a read of ${bundleFor(opened)}`, next });
  }
  const other = otherSoftware(opened, image);
  if (other.length > 0) {
    const next =
      "do not write: other software of the same family: the dealer has updated the controller, or it was replaced; ask the shop for a revision of the base that is in it now";
    return reworded(refusal, { found: `${other.join("; ")}; ${where}`, next });
  }
  const next =
    "do not write: read again; if the next read differs from this one the reading is at fault, if it repeats exactly somebody else has changed locked bytes: ask the shop";
  return reworded(refusal, { found: `the same software, but ${where}${await calibrationText(opened, image)}`, next });
}

function explainIncomplete(refusal, { manifest }, image) {
  const { spans, memories } = manifest.controllers[0];
  const isKnown = ({ memory, range }) => memories.find(({ name }) => name === memory).known.some((known) => rangeHolds(known, range));
  const needed = spans.filter((span) => (span.kind === "binding" || isPinned(span.kind)) && isKnown(span));
  const held = ({ memory, range }) => memoryNamed(image, memory).known.within(range).size;
  const whole = ({ range }) => range.end - range.begin;
  const sum = (size) => needed.reduce((bytes, span) => bytes + size(span), 0);
  const found = `${refusal.found}: it has ${grouped(sum(held))} of ${bytesText(sum(whole))} that are needed`;
  const absent = memories.filter(({ name, known }) => known.length > 0 && memoryNamed(image, name).known.empty).map(({ name }) => name);
  if (absent.length > 0) {
    return reworded(refusal, {
      found: `${found}; nothing of memory ${absent.join(", ")}`,
      next: "give that memory too; the first read had it",
    });
  }
  const calibrationHeld = needed.every((span) => span.kind !== "editable" || held(span) === whole(span));
  if (!calibrationHeld) return reworded(refusal, { found });
  return reworded(refusal, {
    found: `${found}; the calibration is there, the software around it is not`,
    next: "a read of the calibration alone does not prove which software it belongs to: read the controller whole",
  });
}

function explainSize(refusal, opened, files) {
  const { map } = opened;
  const expected = `${refusal.expected}, for ${bundleFor(opened)}`;
  const size = files.find(({ name }) => name === refusal.file)?.bytes.length;
  const own = map.memories.find(({ name }) => name === refusal.place);
  if (refusal.code !== "image-size" || own === undefined || size === undefined) return reworded(refusal, { expected });
  const twin = map.memories.find((memory) => memory !== own && segmentTotal(memory) === size);
  if (twin !== undefined) {
    return reworded(refusal, { expected, found: `${refusal.found}, as many as memory ${twin.name} has`, next: "the files may be swapped" });
  }
  const next = size < segmentTotal(own)
    ? `the file is cut short, holds the calibration alone, or is of another controller: read memory ${own.name} whole`
    : "the file is of another controller, or a tool has wrapped or padded it: check memory and file, or ask the shop";
  return reworded(refusal, { expected, next });
}

// The controllers of a set may have been swapped.
async function explainSwapped(refusal, opened, files, partners) {
  for (const partner of partners) {
    let image;
    try {
      ({ image } = await loadRead(partner.map, files));
    } catch (fault) {
      if (!(fault instanceof Refusal)) throw fault;
      continue;
    }
    if (!(await fits(partner.manifest, image))) continue;
    return reworded(refusal, {
      found: `a read of controller ${partner.map.controller}, whose bundle is ${partner.name}; ${refusal.found}`,
      expected: `a read of ${bundleFor(opened)}`,
      next: "the reads are swapped: give each bundle the read of its own controller",
    });
  }
  return refusal;
}

async function explainOtherBase(refusal, { manifest }, image, newest) {
  const other = newest?.manifest;
  if (other === undefined || other.base.number === manifest.base.number || !(await fits(other, image))) return refusal;
  const next = other.base.number < manifest.base.number
    ? "do not write: the read is from before the controller's update or replacement; read it again now"
    : "do not write: the controller was updated or replaced since; use the revisions of its new base";
  return reworded(refusal, { found: `the software of base ${other.base.number} of this job; ${refusal.found}`, next });
}

// `read` is null where the files could not even be laid into memories.
export async function explainMisfit(refusal, opened, read, files, partners, newest) {
  if (!READ_REASONS.includes(refusal.code)) return refusal;
  let told = refusal;
  if (read === null) told = explainSize(told, opened, files);
  if (read !== null && told.code === "read-incomplete") told = explainIncomplete(told, opened, read.image);
  if (read !== null && told.code === "read-foreign") {
    told = await explainForeign(told, opened, read.image);
    told = await explainOtherBase(told, opened, read.image, newest);
  }
  return explainSwapped(told, opened, files, partners);
}
