// A read-back against every pinned byte of a revision, and what stands there where it is not as it should be: docs/cli.md,
// "calseal confirm".
//
// `comparing` is {opened, map, manifest, claims, spans, baseKnown, image (what was read back), before (image or null), target (what
// should be there, where `carried`), pinned, carried, erased (sets by memory), salt, out, differing}.

import { addressText, bytesText, grouped, hexExcerpt, rangeText } from "./bytes.js";
import { differingRanges, regionOf } from "./compare.js";
import { sha256 } from "./digest.js";
import { readIdentity, recogniseFamily } from "./identity.js";
import { copyImage, putBytes, viewAt, withKnown } from "./image.js";
import { matchComplete, matchLocked, matchPatches, matchVehicle } from "./match.js";
import { calibrationText, explainMisfit, lockedIdentity } from "./near_miss.js";
import { eachCarried } from "./payload.js";
import { placeText, rangesOverlap, setsOf, sizeOf } from "./place.js";
import { makePlan } from "./plan.js";
import { beginProof } from "./proof.js";
import { RangeSet } from "./range_set.js";
import { claimMismatch, Refusal } from "./reason.js";
import { failureOf, verifyChecks } from "./verify.js";

const LEAST_ERASED = 64;  // bytes of one value that count as erased where no sector is declared
const LISTED_MOST_PLACES = 5;

const WORDS_OF_READ_BACK = { read: "the read-back" };

function beginComparing(opened, after, before, salt, out) {
  // The part of a proof that says what is matched: claims, spans, what the base knew.
  const { map, manifest, claims, spans, baseKnown } = beginProof(opened, after, {}, WORDS_OF_READ_BACK);
  const pinned = setsOf(map, spans.filter(({ after: digest }) => digest !== ""));
  return { opened, map, manifest, claims, spans, baseKnown, read: after, image: after.image, before: before?.image ?? null, target: copyImage(after.image),
    pinned, carried: map.memories.map(() => new RangeSet()), erased: map.memories.map(() => new RangeSet()), salt, out, differing: [],
    evidence: { salt, vehicleReference: manifest.vehicle_reference }, words: WORDS_OF_READ_BACK };
}

function carries({ carried }, { memory, range }) {
  return carried[memory].contains(range);
}

// Payload over an image, where it is pinned; `take` hears of every range.
function layPinned({ opened, pinned }, image, take = () => {}) {
  eachCarried(opened, (memory, range, bytes) => {
    for (const { begin, end } of pinned[memory].within(range).ranges) {
      putBytes(image, { memory, range: { begin, end } }, bytes.subarray(begin - range.begin, end - range.begin));
      take(memory, { begin, end });
    }
  });
}

async function layTarget(comparing) {
  const { opened, map, spans, target, carried } = comparing;
  layPinned(comparing, target, (memory, range) => carried[memory].add(range));
  for (const span of spans) {
    if (span.after === "" || !carries(comparing, span) || (await sha256(viewAt(target, span))) === span.after) continue;
    throw claimMismatch(`controllers/0/payload, ${placeText(map, span)}`, "bytes that are not those of the span", `SHA-256 ${span.after}`, opened.name);
  }
}

async function requireBase({ opened, map, manifest, claims, spans, before }) {
  const read = { image: before };
  const proof = { map, manifest, claims, spans, read, words: { read: "the read from before" } };
  try {
    matchComplete(proof);
    await matchLocked(proof);
    matchPatches(proof);
  } catch (fault) {
    if (!(fault instanceof Refusal)) throw fault;
    const told = await explainMisfit(fault, opened, read, [], [], null);
    told.next = "give the read of this controller from before the write, or leave it out";
    throw told;
  }
}

// Locked bytes of the read from before are those of the revision too.
async function layBefore(comparing) {
  const { before, spans, target, carried } = comparing;
  if (before === null) return;
  await requireBase(comparing);
  const laid = copyImage(before);
  layPinned(comparing, laid);
  for (const span of spans) {
    if (span.after === "" || carries(comparing, span) || (await sha256(viewAt(laid, span))) !== span.after) continue;
    putBytes(target, span, viewAt(laid, span));
    carried[span.memory].add(span.range);
  }
}

// Sectors of which every known byte has the fill value.
function findErased({ map, image, erased }) {
  for (const { memory, range } of map.sectors) {
    const known = image.memories[memory].known.within(range);
    const { fill } = map.memories[memory];
    const isBlank = known.ranges.every((part) => viewAt(image, { memory, range: part }).every((byte) => byte === fill));
    if (isBlank && !known.empty) erased[memory].add(range);
  }
}

function isAsWanted({ image, target }, place) {
  const wanted = viewAt(target, place);
  return viewAt(image, place).every((byte, i) => byte === wanted[i]);
}

function isErasedSpan(comparing, span) {
  const { map, image, erased } = comparing;
  if (map.sectors.length === 0) {
    const { fill } = map.memories[span.memory];
    return sizeOf(span.range) >= LEAST_ERASED && viewAt(image, span).every((byte) => byte === fill);
  }
  const standing = new RangeSet([span.range]);
  standing.removeAll(erased[span.memory].within(span.range));
  return standing.ranges.every((range) => carries(comparing, span) && isAsWanted(comparing, { memory: span.memory, range }));
}

// What a span that is not as it should be most likely is: "old", "erased" or "other".
function causeOf(comparing, span, digest) {
  const { image, before, target } = comparing;
  if (isErasedSpan(comparing, span)) return "erased";
  if (before === null) return digest === span.before ? "old" : "other";
  const [found, old, wanted] = [image, before, target].map((one) => viewAt(one, span));
  const isMixed = found.every((byte, i) => byte === wanted[i] || byte === old[i]);
  return isMixed && carries(comparing, span) ? "old" : "other";
}

// How many bytes of a span differ, and the first run of them, exact where the bytes are carried.
function differenceIn(comparing, span) {
  if (!carries(comparing, span)) return { bytes: sizeOf(span.range), range: span.range, exact: false };
  let bytes = 0;
  let first = null;
  for (const run of differingRanges(viewAt(comparing.image, span), viewAt(comparing.target, span))) {
    first ??= run;
    bytes += sizeOf(run);
  }
  return { bytes, range: { begin: span.range.begin + first.begin, end: span.range.begin + first.end }, exact: true };
}

function firstOf({ map, image, target }, { memory, kind }, { range, exact }) {
  const place = { memory, range };
  const region = regionOf(map, { memory, range: { begin: range.begin, end: range.begin + 1 } });
  const excerpt = (one) => (exact ? hexExcerpt(viewAt(one, place)) : "");
  return { place, memory: map.memories[memory].name, range, region, kind, exact, found: excerpt(image), expected: excerpt(target) };
}

async function compareSpans(comparing) {
  const { spans, image, out, differing } = comparing;
  findErased(comparing);
  for (const span of spans) {
    if (span.after === "") continue;
    out.bytesCompared += sizeOf(span.range);
    const digest = await sha256(viewAt(image, span));
    if (digest === span.after) continue;
    differing.push({ span, cause: causeOf(comparing, span, digest) });
    const difference = differenceIn(comparing, span);
    out.bytesDiffering += difference.bytes;
    out.first ??= firstOf(comparing, span, difference);
  }
}

function isSameSoftware({ opened, map, image }) {
  try {
    recogniseFamily(map, image);
  } catch (fault) {
    if (fault instanceof Refusal) return false;
    throw fault;
  }
  const isFormed = ({ known, blank, wellFormed }) => !known || blank || wellFormed;
  return readIdentity(map, image).every(isFormed) && lockedIdentity(opened, image).every(({ text, said }) => text === said);
}

// Locked bytes differ although nothing was erased: is this the controller at all?
async function judgeSoftware(comparing) {
  const { opened, map, manifest, read, differing } = comparing;
  const foreign = differing.find(({ span, cause }) => span.kind === "locked" && cause === "other");
  if (foreign === undefined || isSameSoftware(comparing)) return;
  const refusal = new Refusal("read-foreign", { place: placeText(map, foreign.span), found: "locked bytes that differ",
    expected: `the locked bytes of base ${manifest.base.number} of job ${manifest.job}`,
    next: "check that read-back and bundle belong to the same controller, and ask the shop" });
  throw await explainMisfit(refusal, opened, read, [], [], null);
}

async function judgeVehicle(comparing) {
  const { claims, salt, out } = comparing;
  const isSealed = claims.binding.some(({ digest }) => digest !== "");
  if (salt !== null && isSealed) {
    out.vehicle = await matchVehicle(comparing);
    return;
  }
  out.cautions.push({ code: "vehicle-not-compared", says: isSealed ? "vehicle-not-compared" : "vehicle-not-comparable", parts: {}, text: isSealed ? "without the job's salt nothing proves that this is the job's vehicle"
    : "no binding field proves that this is the job's vehicle" });
}

// The places in which the revision differs from what was there: byte by byte against the read from before, or else as the shop lists them.
function changedPlaces({ opened, map, spans, before, carried }) {
  if (before !== null) return spans.filter((span) => span.after !== "" && carried[span.memory].contains(span.range));
  // The list is the shop's claim: what lies outside of the carried bytes says nothing here.
  return opened.changes.flatMap(({ memory: name, range }) => {
    const memory = map.memories.findIndex((one) => one.name === name);
    return memory === -1 ? [] : carried[memory].within(range).ranges.map((part) => ({ memory, range: part }));
  });
}

// How much of what the revision changes has arrived; the first address that has not, and the last one that has.
function countArrivals(comparing) {
  const { image, before, target, out } = comparing;
  const arrivals = { firstMissing: null, lastArrived: null };
  for (const place of changedPlaces(comparing)) {
    const [found, wanted] = [viewAt(image, place), viewAt(target, place)];
    const old = before === null ? null : viewAt(before, place);
    for (let i = 0; i < found.length; ++i) {
      if (old !== null && old[i] === wanted[i]) continue;
      ++out.bytesChanged;
      const at = { memory: place.memory, address: place.range.begin + i };
      if (found[i] === wanted[i]) {
        ++out.bytesArrived;
        arrivals.lastArrived = at;
      } else {
        arrivals.firstMissing ??= at;
      }
    }
  }
  return arrivals;
}

// What the base did not know is nobody's business.
function knownToBase({ image, baseKnown }) {
  return withKnown(image, image.memories.map(({ known }, i) => known.intersect(baseKnown[i])));
}

// All pinned bytes are right; what depends on learned values must hold in itself.
async function judgeFloating(comparing) {
  const image = knownToBase(comparing);
  const plan = makePlan(comparing.map, image);
  const failing = (await verifyChecks(plan, image)).find(({ state }) => state === "fails");
  if (failing === undefined) return;
  const refusal = failureOf(plan, failing);
  if (failing.floating) {
    refusal.next = "every byte of the revision is there, but this checksum over learned values does not hold: it was read while running, or the writer put back old values; leave the ignition off for some minutes, read back again, and do not drive until it holds";
  }
  throw refusal;
}

function differenceFault({ map, out: { first } }, code, words) {
  return new Refusal(code, { place: placeText(map, first.place) + (first.region === "" ? "" : ` in region ${first.region}`), ...words });
}

function revisionText({ manifest: { revision, job } }) {
  return `revision ${revision} of job ${job}`;
}

function arrivedText({ out }) {
  return `${grouped(out.bytesArrived)} of ${bytesText(out.bytesChanged)} that change are`;
}

function isBehind(a, b) {
  return a.memory > b.memory || (a.memory === b.memory && a.address > b.address);
}

// A write that stopped leaves everything before one address written and nothing behind it.
function boundaryText({ map }, { firstMissing, lastArrived }) {
  if (firstMissing === null) return "";
  const { memory, address } = firstMissing;
  const own = { begin: address, end: address + 1 };
  const sector = map.sectors.find((one) => one.memory === memory && rangesOverlap(one.range, own));
  const at = `${map.memories[memory].name} ${addressText(address)}${sector === undefined ? "" : `, in erase sector ${rangeText(sector.range)}`}`;
  return lastArrived !== null && isBehind(firstMissing, lastArrived)
    ? `; everything before ${at} is written and nothing from there on: the write stopped there` : `; the first that is not stands at ${at}`;
}

function partialFault(comparing, arrivals, onlyDerived, erased) {
  const empty = erased === 0 ? "" : `; ${erased} ${erased === 1 ? "span is" : "spans are"} erased and empty`;
  const derived = onlyDerived ? "; only the checksums are still those from before" : "";
  return differenceFault(comparing, "confirm-partial", { found: `${arrivedText(comparing)} written${empty}${derived}${boundaryText(comparing, arrivals)}`,
    expected: `all of ${revisionText(comparing)}`,
    next: "do not start the engine and do not drive: leave the controller powered, write the same image again, and read back again; if it cannot be written, write revision 0; ask the shop" });
}

// The checks that do not hold on the read-back; null where none can be told.
async function failingChecks(comparing) {
  const image = knownToBase(comparing);
  try {
    return (await verifyChecks(makePlan(comparing.map, image), image)).filter(({ state }) => state === "fails").map(({ name }) => name);
  } catch (fault) {
    if (fault instanceof Refusal) return null;
    throw fault;
  }
}

async function recorrectedFault(comparing) {
  const { map, differing } = comparing;
  const places = differing.slice(0, LISTED_MOST_PLACES).map(({ span }) => placeText(map, span)).join(", ");
  const failing = await failingChecks(comparing);
  const rules = failing !== null && failing.length > 0 ? `by the region map they do not hold (${failing.slice(0, LISTED_MOST_PLACES).join("; ")}), so the writer corrects by other rules`
    : "the region map's checks hold with them, so the writer has found another solution";
  return differenceFault(comparing, "confirm-recorrected", { found: `the calibration as sealed, but other checksum bytes at ${places}; ${rules}`,
    expected: `the checksums of ${revisionText(comparing)}`,
    next: "the writer has corrected checksums that were already right: switch its correction off, write again, and read back again; do not drive before that, and tell the shop, for one of the two is wrong about this controller" });
}

async function otherFault(comparing, { span }) {
  const { opened, image, before, out } = comparing;
  // The first difference of this kind is what the person needs, not one that is merely old.
  out.first = firstOf(comparing, span, differenceIn(comparing, span));
  const { exact, found, expected } = out.first;
  const differ = `${bytesText(out.bytesDiffering)} ${exact ? "differ" : "in spans that differ"}`;
  const more = span.kind === "locked" ? "; locked bytes, which no revision changes" : await calibrationText(opened, image);
  const again = before === null && span.kind === "editable" ? "; with the read from before the write it can be told whether this is what was there before" : "";
  return differenceFault(comparing, "confirm-differs", { found: `${exact ? found : `other ${span.kind} bytes`}; ${differ}, ${arrivedText(comparing)} as they should be${more}`,
    expected: exact ? expected : `SHA-256 ${span.after}`,
    next: `do not drive: another file or another revision was written, or bytes were damaged on the way; check which image the writer took, write again, and read back again${again}` });
}

async function differenceRefusal(comparing, arrivals) {
  const { differing, before, out } = comparing;
  const isDerived = ({ span }) => span.kind === "derived";
  const others = differing.filter(({ cause }) => cause === "other");
  const erased = differing.filter(({ cause }) => cause === "erased").length;
  const onlyDerived = differing.every(isDerived);
  if (others.length > 0) {
    return onlyDerived ? recorrectedFault(comparing) : otherFault(comparing, others.find((one) => !isDerived(one)) ?? others[0]);
  }
  if (erased > 0 || out.bytesArrived > 0) return partialFault(comparing, arrivals, onlyDerived, erased);
  const where = before === null ? "in the base" : "in the read from before";
  return differenceFault(comparing, "confirm-old", { found: `everything as ${where}: none of ${bytesText(out.bytesChanged)} that change has been written`,
    expected: revisionText(comparing),
    next: "nothing was written: look at what the writer said, check that it wrote the image that was rebuilt, write again, and read back again" });
}

// Throws what is wrong; fills the numbers of `out`. `before` is null where there is none.
export async function compareReadBack(opened, after, before, salt, out) {
  out.isRead = true;
  const comparing = beginComparing(opened, after, before, salt, out);
  try {
    matchComplete(comparing, salt !== null);
  } catch (fault) {
    throw fault instanceof Refusal ? await explainMisfit(fault, opened, after, [], [], null) : fault;
  }
  await layTarget(comparing);
  await layBefore(comparing);
  await compareSpans(comparing);
  await judgeSoftware(comparing);
  await judgeVehicle(comparing);
  const arrivals = countArrivals(comparing);
  if (comparing.differing.length > 0) throw await differenceRefusal(comparing, arrivals);
  await judgeFloating(comparing);
}
