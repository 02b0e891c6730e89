// Revision 0 without a read, for a controller that can no longer be read: its payload is the whole first read. What is written is the
// result, in which floating places are correct, and not the payload as it came.

import { fromHex, utf8 } from "./bytes.js";
import { sha256 } from "./digest.js";
import { joinRanges, knowsPlace, segmentsOf, viewAt, viewOf } from "./image.js";
import { writeIntelHex } from "./intel_hex.js";
import { writeSRecord } from "./s_record.js";
import { carriedImage } from "./payload.js";
import { prove, provedOutcome } from "./proof.js";
import { RangeSet } from "./range_set.js";
import { describeRefusal, Refusal } from "./reason.js";
import { emptyWrapping, makesItsOpaqueBytes, opaqueSize, wrap, wrappedParts } from "./wrapping.js";

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

const OPAQUE_LIMIT = 65536;  // of more, a few words in a region map would make a file that has nothing to do with the image

// The file in the declared form that it was received in; nothing where that cannot be. Opaque bytes that nobody noted count as
// zeros where the first read gives its own file with them.
async function wrapped(opened, file, form, firstRead, image) {
  if (opaqueSize(form) > OPAQUE_LIMIT) return undefined;
  const isFill = (place) => viewAt(image, place).every((byte) => byte === form.fill);
  if (!wrappedParts(form).every((part) => knowsPlace(image, part)) || !form.omitted.every(isFill)) return undefined;
  const noted = notedWrapping(opened.manifest, form);
  const around = noted === undefined ? undefined : emptyWrapping(form, noted);
  const isSure = around !== undefined || makesItsOpaqueBytes(form);
  const empty = around ?? emptyWrapping(form, new Uint8Array(opaqueSize(form)));
  try {
    if (!isSure && (await sha256(await wrap(form, empty, firstRead, opened.name))) !== file.digest) return undefined;
    return await wrap(form, empty, image, opened.name);
  } catch (fault) {
    if (fault instanceof Refusal) return undefined;
    throw fault;
  }
}

// The files in declared forms; `held` collects, by memory, which bytes they hold or leave out as fill.
async function wrappedFiles(opened, firstRead, image, held) {
  const files = [];
  for (const file of opened.manifest.controllers[0].files) {
    const form = opened.map.forms.find(({ name, signature }) => name === file.form && signature === undefined);
    const bytes = form === undefined ? undefined : await wrapped(opened, file, form, firstRead, image);
    if (bytes === undefined) continue;
    for (const { memory, range } of [...wrappedParts(form), ...form.omitted]) held[memory].add(range);
    files.push({ memory: file.memory, source: "", bytes });
  }
  return files;
}

// What a person can mend himself; everything else lies in the bundle, since there is no read to take again.
const OWN_REASONS = ["vehicle-reference", "salt-wrong"];

async function proveFirstRead(opened, firstRead, evidence, note) {
  const read = { image: firstRead, sources: [], filled: [] };
  try {
    return await prove(opened, read, { ...evidence, readIsFresh: true }, { read: "the first read" }, note);
  } catch (fault) {
    if (!(fault instanceof Refusal) || OWN_REASONS.includes(fault.code)) throw fault;
    throw new Refusal(fault.code, { ...describeRefusal(fault), next: "do not use this bundle; tell the shop" });
  }
}

// That it is revision 0, and that a vehicle reference was given, has been checked before.
export async function revive(opened, evidence, note) {
  const firstRead = carriedImage(opened);
  const proof = await proveFirstRead(opened, firstRead, evidence, note);
  const image = proof.result;
  const held = image.memories.map(() => new RangeSet());
  const files = await wrappedFiles(opened, firstRead, image, held);
  image.memories.forEach((memory, index) => {
    const rest = memory.known.copy();
    rest.removeAll(held[index]);
    if (!rest.empty) files.push({ memory: memory.name, source: "", bytes: fileOf(memory, formFor(opened, memory)) });
  });
  return { ...provedOutcome(proof, files), vehicle: "asserted" };
}
