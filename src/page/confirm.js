// After the write: does the controller hold what the revision says? docs/cli.md, "calseal confirm". Nothing is rebuilt or written.
//
// What was read back is compared with every pinned byte: exactly where the bundle carries it, by digest elsewhere. Values of a scan
// tool give weaker proof where a controller cannot be read back.

import { mapIsDraft, rootNotConfirmed } from "./cautions.js";
import { readInclusion } from "./inclusion.js";
import { compareReadBack } from "./confirm_read.js";
import { checkScanNames, compareScan } from "./confirm_scan.js";
import { loadRead } from "./read.js";
import { explainMisfit } from "./near_miss.js";
import { openSealed } from "./open.js";
import { describeRefusal, Refusal } from "./reason.js";
import { checkFiles, parseSalt } from "./request_files.js";
import { SPOKEN, spokenCode } from "./spoken_code.js";
import { readTrustChain } from "./succession.js";

// How strong the proof is; each says more than the one before.
const PROOF_GRADES = ["none", "identity", "verification-number", "bytes"];

const NOTHING_GIVEN = { statedRoot: "", successions: [], inclusion: null, reads: [], before: [], scan: [], salt: null };

async function loadHeld(opened, files) {
  try {
    return await loadRead(opened.map, files);
  } catch (fault) {
    throw fault instanceof Refusal ? await explainMisfit(fault, opened, null, files, [], null) : fault;
  }
}

// A number that base and revision share says nothing about which of them is there.
function gradeOfScan(scan, isBase) {
  const grades = scan.filter(({ state }) => state === "equal")
    .map(({ kind, tellsApart }) => (kind === "verification-number" && (tellsApart || isBase) ? "verification-number" : "identity"));
  return grades.includes("verification-number") ? "verification-number" : grades[0] ?? "none";
}

function strongest(a, b) {
  return PROOF_GRADES.indexOf(a) > PROOF_GRADES.indexOf(b) ? a : b;
}

async function openConfirmed(request, out) {
  const { trust } = await readTrustChain(request.trust, request.successions, request.statedRoot);
  Object.assign(out, { shop: trust.shop, rootFingerprint: spokenCode(SPOKEN.key, trust.rootId), trustVersion: trust.version, trustTime: trust.claimed_time });
  const inclusion = request.inclusion === null ? null : readInclusion(request.inclusion.bytes, request.inclusion.name);
  // Neither the clock nor the order in time matters after the write.
  const opened = await openSealed(request.bundle, { trust, now: "", order: null, inclusion }, (_, work) => work());
  const { manifest, digest, signers } = opened;
  Object.assign(out, { manifest, manifestDigest: digest, phrase: spokenCode(SPOKEN.revision, digest), signers });
  if (request.statedRoot === "") out.cautions.push(rootNotConfirmed(out.rootFingerprint));
  if (opened.map.grade !== "verified") out.cautions.push(mapIsDraft(opened.map));
  return opened;
}

// A scan that agrees in nothing but what base and revision share.
function noteNothingToldApart(out) {
  if (out.grade !== "identity" || out.manifest.revision === 0) return;
  if (out.scan.some(({ tellsApart, state }) => tellsApart && state === "equal")) return;
  out.cautions.push({ code: "same-before-and-after", parts: {},
    text: "every value compared is the same before and after this revision: they tell the controller, not whether it was written" });
}

async function confirmOpened(opened, request, out) {
  const { reads, before, scan, salt } = request;
  checkScanNames(opened, scan);
  if (reads.length > 0) {
    const after = await loadHeld(opened, reads);
    await compareReadBack(opened, after, before.length === 0 ? null : await loadHeld(opened, before), salt, out);
    out.grade = "bytes";
  }
  await compareScan(opened, scan, salt, out.scan);
  out.grade = strongest(out.grade, gradeOfScan(out.scan, opened.manifest.revision === 0));
  noteNothingToldApart(out);
}

function newConfirmation() {
  return {
    outcome: "refused", reason: null, grade: "none", manifest: null, manifestDigest: "", phrase: "", signers: [], shop: "", rootFingerprint: "",
    trustVersion: 0, trustTime: "", isRead: false, vehicle: "none", bytesCompared: 0, bytesDiffering: 0, bytesChanged: 0, bytesArrived: 0, first: null,
    scan: [], cautions: [],
  };
}

function refuse(out, fault) {
  out.reason = describeRefusal(fault instanceof Refusal ? fault : new Refusal("internal", { found: String(fault), next: "report this" }));
  out.grade = "none";
  return out;
}

// The confirmation where nothing could be compared.
export function failedConfirmation(fault) {
  return refuse(newConfirmation(), fault);
}

// Never rejects. `given`: bundle, trust, statedRoot, successions, inclusion, salt as for checkBundle; `reads` what was read back,
// `before` the read from before the write, `scan` [{name, value}].
export async function confirmBundle(given) {
  const request = { ...NOTHING_GIVEN, ...given };
  const out = newConfirmation();
  try {
    checkFiles({ ...request, reads: [...request.reads, ...request.before], partners: [], withdrawals: null, jobList: null, newest: null, state: null });
    if (request.salt !== null) request.salt = parseSalt(request.salt);
    await confirmOpened(await openConfirmed(request, out), request, out);
    out.outcome = out.grade === "none" ? "unproved" : "confirmed";
  } catch (fault) {
    if (!(fault instanceof Refusal)) console.error(fault);
    refuse(out, fault).reason.file ||= request.bundle.name;
  }
  return out;
}
