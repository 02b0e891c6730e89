// Revision 0 without a read, for a controller that can no longer be read: its payload is the whole first read.

import { utf8 } from "./bytes.js";
import { joinRanges, segmentsOf, viewOf } from "./image.js";
import { writeIntelHex } from "./intel_hex.js";
import { writeSRecord } from "./s_record.js";
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

// That it is revision 0, and that a vehicle reference was given, has been checked before.
export async function revive(opened, evidence, note) {
  const image = imageOfBase(opened);
  const read = { image, sources: [], filled: [] };
  const result = await rebuild(opened, read, { ...evidence, readIsFresh: true }, note);
  const files = image.memories.filter(({ known }) => !known.empty)
    .map((memory) => ({ memory: memory.name, source: "", bytes: fileOf(memory, formFor(opened, memory)) }));
  return { ...result, vehicle: "asserted", files };
}
