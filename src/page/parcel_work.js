// What the view "Send to the shop" has done beside the page: looking at files, and packing them. Files are read here, one after
// another, so that the page itself holds none of them.

import { customerFingerprint, makeParcel, openStored } from "./parcel.js";
import { closeParcel } from "./hpke.js";
import { lookAtReads } from "./look.js";
import { writeCustomerFile } from "./customer_file.js";
import { describeRefusal, Refusal } from "./reason.js";

async function bytesOfFile(file) {
  try {
    return new Uint8Array(await file.arrayBuffer());
  } catch (fault) {
    throw new Refusal("file-unreadable", { file: file.name, found: String(fault), next: "choose the file again" });
  }
}

async function withBytes(list) {
  const out = [];
  for (const item of list) out.push({ ...item, fileName: item.file.name, bytes: await bytesOfFile(item.file) });
  return out;
}

function refusalOf(fault) {
  if (fault instanceof Refusal) return fault;
  if (fault instanceof RangeError) return new Refusal("out-of-memory", { found: String(fault), next: "send fewer files at once" });
  return new Refusal("internal", { found: String(fault), next: "report this to the shop" });
}

// Codes for each of `reads`, {file, controller, memory, series}; null for one that can no longer be read.
export async function lookAtFiles({ reads, wanted }) {
  const readable = [];
  for (const read of reads) {
    try {
      readable.push({ ...read, bytes: await bytesOfFile(read.file), read });
    } catch (fault) {
      if (!(fault instanceof Refusal)) throw fault;
    }
  }
  const codes = lookAtReads(readable, wanted);
  return reads.map((read) => codes[readable.findIndex((one) => one.read === read)] ?? null);
}

// `wish` is that of makeParcel(), with `file` instead of names and bytes, and without seed and number, which come from `customer`.
// `parcelKey` closes it; `wanted` are the reads of the sheet. Gives {bytes, keyId, fingerprint, parcel, customer, customerText}, or
// {refused}, what describeRefusal() gives. What was packed is read back before it is given away, down
// to the stored bytes; to inflate them again would take half as long as packing.
export async function packParcel({ wish, customer, parcelKey, wanted }, onStep = () => {}) {
  try {
    const reads = await withBytes(wish.reads);
    const codes = lookAtReads(reads, wanted);
    const logs = await withBytes(wish.logs);
    const next = { ...customer, number: customer.number + 1 };
    const whole = { ...wish, seed: next.seed, number: next.number, logs, reads: reads.map((read, i) => ({ ...read, codes: codes[i] })) };
    const { bytes, parcel, keyId } = await makeParcel(whole, { onEntry: (i, count) => onStep("packing", [i, count]) });
    await openStored(bytes, "the parcel");
    const sent = parcelKey === "" ? bytes : await closeParcel(bytes, parcelKey);
    return { bytes: sent, keyId, fingerprint: customerFingerprint(keyId), parcel, customer: next, customerText: await writeCustomerFile(next) };
  } catch (fault) {
    return { refused: describeRefusal(refusalOf(fault)) };
  }
}
