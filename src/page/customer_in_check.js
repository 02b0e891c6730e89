// What a customer file gives to a check, and takes from it. docs/parcel.md, "In checks".

import { toHex, utf8 } from "./bytes.js";
import { RECEIPTS_MOST, SALTS_MOST, writeCustomerFile } from "./customer_file.js";
import { sha256 } from "./digest.js";
import { readManifest } from "./manifest.js";
import { readPrefix } from "./prefix.js";
import { describeRefusal, Refusal } from "./reason.js";
import { signReceipt } from "./receipt.js";
import { parseSalt } from "./request_files.js";

// The job that a bundle says it is of. Nobody has judged it yet: it only picks a salt, which is judged.
async function jobNamedBy({ bytes, name }) {
  try {
    return (await readManifest(readPrefix(bytes, name).manifest, name)).job;
  } catch {
    return "";  // the check says what is wrong with it
  }
}

// The request with state and salt from the customer file, where it has none; `given` {name, customer}.
export async function fillFromCustomer(request, { name, customer }) {
  const part = (what, text) => ({ name: `${name}: ${what}`, bytes: utf8(text) });
  const job = request.salt === null && request.bundle !== null ? await jobNamedBy(request.bundle) : "";
  const kept = customer.salts.find((one) => one.job === job);
  return { ...request, state: request.state ?? part("state", customer.state), salt: kept === undefined ? request.salt : part("salt", kept.salt) };
}

// The salts with that of the request, where the manifest names it. A request whose salt is none was refused before.
async function withSalt(salts, { job, salt_digest: digest }, request) {
  const bytes = request.salt === null ? null : parseSalt(request.salt);
  if (bytes === null || await sha256(bytes) !== digest) return { salts, saltKept: false, saltLeftOut: false };
  const salt = toHex(bytes);
  const before = salts.find((one) => one.job === job);
  if (before === undefined && salts.length === SALTS_MOST) return { salts, saltKept: false, saltLeftOut: true };
  const others = salts.filter((one) => one !== before);
  return {
    salts: [...others, { job, salt }].sort((a, b) => (a.job < b.job ? -1 : 1)), saltKept: before?.salt !== salt, saltLeftOut: false,
  };
}

// What the check leaves: {customer, text, receipt, keepsState, saltKept, saltLeftOut, fault}. `request` is the one that was judged, `own`
// whether its state came from this file, `written` whether images are written. Where there is a fault nothing may be kept but the receipt.
export async function customerAfterCheck(customer, verdict, { request, own, written }) {
  const state = written ? verdict.stateAfterWrite : verdict.stateAfterLook;
  let after = { ...customer, state: own && state !== "" ? state : customer.state };
  const said = { receipt: "", saltKept: false, saltLeftOut: false };
  if (verdict.manifest) {
    const { salts, ...kept } = await withSalt(customer.salts, verdict.manifest, request);
    Object.assign(said, kept, { receipt: await signReceipt(customer.seed, verdict, request.now) });
    after = { ...after, salts, receipts: [...customer.receipts, said.receipt].slice(-RECEIPTS_MOST) };
  }
  try {
    return { ...said, customer: after, text: await writeCustomerFile(after), keepsState: own, fault: null };
  } catch (fault) {
    if (!(fault instanceof Refusal)) throw fault;
    return { ...said, customer, text: "", keepsState: false, fault: describeRefusal(fault) };
  }
}
