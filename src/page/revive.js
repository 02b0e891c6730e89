// Revision 0 without a read, for a controller that can no longer be read: its payload is the whole first read.

import { fromHex, utf8 } from "./bytes.js";
import { sha256 } from "./digest.js";
import { joinRanges, segmentsOf, viewOf } from "./image.js";
import { writeIntelHex } from "./intel_hex.js";
import { writeSRecord } from "./s_record.js";
import { RangeSet } from "./range_set.js";
import { Refusal } from "./reason.js";
import { emptyWrapping, makesItsOpaqueBytes, opaqueSize, wrap, wrappedParts } from "./wrapping.js";
import { imageOfBase, rebuild } from "./rebuild.js";

// The form that the memory was received in, as far as a single memory can have it.
function formFor(opened, memory) {
  const { files } = opened.manifest.controllers[0];
  const file = files.find((one) => one.memory === memory.name) ?? files.find((one) => one.memory === "");
  if (file?.form === "intel-hex" || file?.form === "s-record") return file.form;
  // A raw file has no addresses, so it can only hold a memory whole.
  const declared = opened.map.memories.find(({ name }) => name === memory.name);
  return memory.known.equals(segmentsOf(declared)) ? "raw" : "intel-hex";
}

function fileOf(memory, form) {
  const { ranges } = memory.known;
  if (form === "raw") return joinRanges(memory, ranges);
  const segments = ranges.map((range) => ({ address: range.begin, bytes: viewOf(memory, range) }));
  return utf8(form === "intel-hex" ? writeIntelHex(segments) : writeSRecord(segments));
}

// The opaque bytes that the manifest keeps for a form, in its annotation "wrapping": the form's name, a space, hexadecimal.
function notedWrapping(manifest, form) {
  const start = `${form.name} `;
  for (const [name, text] of manifest.annotations) {
    if (name !== "wrapping" || !text.startsWith(start)) continue;
    const bytes = fromHex(text.slice(start.length));
    if (bytes !== null) return bytes;
  }
  return undefined;
}

// The file in the declared form that it was received in; nothing where that cannot be.
async function wrapped(opened, file, form, image) {
  if (!wrappedParts(form).every(({ memory, range }) => image.memories[memory].known.contains(range))) return undefined;
  const noted = notedWrapping(opened.manifest, form);
  const around = noted === undefined ? undefined : emptyWrapping(form, noted);
  const sure = around !== undefined || makesItsOpaqueBytes(form);
  try {
    const bytes = await wrap(form, around ?? emptyWrapping(form, new Uint8Array(opaqueSize(form))), image, opened.name);
    return sure || (await sha256(bytes)) === file.digest ? bytes : undefined;
  } catch (fault) {
    if (fault instanceof Refusal) return undefined;
    throw fault;
  }
}

// The files in declared forms; `held` collects, by memory, which bytes they hold or leave out as fill.
async function wrappedFiles(opened, image, held) {
  const files = [];
  for (const file of opened.manifest.controllers[0].files) {
    const form = opened.map.forms.find(({ name, signature }) => name === file.form && signature === undefined);
    const bytes = form === undefined ? undefined : await wrapped(opened, file, form, image);
    if (bytes === undefined) continue;
    for (const { memory, range } of [...wrappedParts(form), ...form.omitted]) held[memory].add(range);
    files.push({ memory: file.memory, source: "", bytes });
  }
  return files;
}

// That it is revision 0, and that a vehicle reference was given, has been checked before.
export async function revive(opened, evidence, note) {
  const image = imageOfBase(opened);
  const read = { image, sources: [], filled: [] };
  const result = await rebuild(opened, read, { ...evidence, readIsFresh: true }, note);
  const held = image.memories.map(() => new RangeSet());
  const files = await wrappedFiles(opened, image, held);
  image.memories.forEach((memory, index) => {
    const rest = new RangeSet(memory.known.ranges);
    rest.removeAll(held[index]);
    if (!rest.empty) files.push({ memory: memory.name, source: "", bytes: fileOf(memory, formFor(opened, memory)) });
  });
  return { ...result, vehicle: "asserted", files };
}
