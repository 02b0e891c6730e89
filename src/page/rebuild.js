// From a bundle and a read to the image that may be written: the payload is laid over the read, floating places are corrected,
// and everything that the manifest says is proved again from bytes and region map.

import { rangeText } from "./bytes.js";
import { sha256 } from "./digest.js";
import { Refusal } from "./reason.js";
import { RangeSet } from "./range_set.js";
import { blankImage, copyImage, putBytes, viewOf } from "./image.js";
import { bytesOfKind, isPinned, makePlan, writeRangesOf } from "./plan.js";
import { describeBinding, describeChanges, describeCheck, describeIdentity, describePayload, describeSpans, describeWriteRanges } from "./claims.js";
import { matchBase, matchVehicle, memoryNamed } from "./match.js";
import { editableShareOf, proveConfinement } from "./compare.js";
import { correctFloating } from "./correct.js";
import { failureOf, verifyChecks } from "./verify.js";
import { pinnedDigest } from "./pinned_digest.js";
import { placeText, sizeOf } from "./place.js";
import { renderRead } from "./read.js";

const sameRange = (a, b) => a.begin === b.begin && a.end === b.end;
const samePlace = (a, b) => a.memory === b.memory && sameRange(a.range, b.range);
const sameLists = (a, b, same) => a.length === b.length && a.every((one, i) => same(one, b[i]));

function claimFault(place, found, expected) {
  return new Refusal("claim-mismatch", { place, found, expected, next: "do not use this bundle; tell the shop" });
}

function memoryIndex(map, name) {
  return map.memories.findIndex((memory) => memory.name === name);
}

// Lays the payload over an image: all of it, or what lies in `only` (one set for each memory).
function layPayload(opened, image, only = undefined) {
  opened.manifest.controllers[0].payload.parts.forEach((part, i) => {
    const memory = memoryIndex(opened.map, part.memory);
    let at = 0;
    for (const range of part.ranges) {
      const parts = only === undefined ? [range] : only[memory].within(range).ranges;
      for (const { begin, end } of parts) {
        const from = at + begin - range.begin;
        putBytes(image, { memory, range: { begin, end } }, opened.payload[i].subarray(from, from + end - begin));
        image.memories[memory].known.add({ begin, end });
      }
      at += sizeOf(range);
    }
  });
}

// The image that a full payload of revision 0 carries.
export function imageOfBase(opened) {
  const image = blankImage(opened.map);
  layPayload(opened, image);
  return image;
}

// The same bytes, of which other addresses count as known.
function withKnown(image, sets) {
  return { memories: image.memories.map((memory, i) => ({ ...memory, known: sets[i] })) };
}

class Rebuilding {
  constructor(opened, read, evidence) {
    this.opened = opened;
    this.map = opened.map;
    [this.claims] = opened.manifest.controllers;
    this.read = read;
    this.evidence = evidence;
    this.result = { cautions: [] };
    this.baseKnown = this.claims.memories.map(({ known }) => new RangeSet(known));
    // What the base did not know is left out of everything that is judged; the file keeps it as it came.
    const cut = read.image.memories.map(({ known }, i) => known.intersect(this.baseKnown[i]));
    this.before = withKnown(read.image, cut);
  }

  async match() {
    this.image = copyImage(this.before);
    // Whatever else a full payload carries, the read keeps its own locked, volatile and binding bytes. The kinds are the
    // manifest's; the next step proves them.
    const writable = this.map.memories.map(() => new RangeSet());
    for (const { memory, range, kind } of this.claims.spans) {
      if (kind === "editable" || kind === "derived") writable[memoryIndex(this.map, memory)].add(range);
    }
    for (const patch of this.map.patches) writable[patch.memory].add(patch.range);
    layPayload(this.opened, this.image, writable);
    await matchBase(this.opened, this.read.image, this.image);
    this.result.vehicle = await matchVehicle(this.opened, this.read.image, this.evidence);
  }

  // The plan looks at locked bytes only, and these are proved by now. The payload may know more than the read, so the image is
  // looked at with what the base knew.
  async compareStructure() {
    const { claims } = this;
    this.plan = makePlan(this.map, this.image);
    const shape = withKnown(this.image, this.baseKnown);
    const place = (name) => `controllers/0/${name}`;
    if (!sameLists(describeSpans(this.plan, shape), claims.spans, (a, b) => samePlace(a, b) && a.kind === b.kind)) {
      throw claimFault(place("spans"), "other spans than the region map cuts", "the spans of the region map");
    }
    if (!sameLists(describeWriteRanges(this.plan, shape), claims.write_ranges, samePlace)) {
      throw claimFault(place("write_ranges"), "other ranges than the region map gives", "editable, patch and derived places");
    }
    const parts = describePayload(this.plan, shape, claims.payload.kind, this.opened.manifest.revision);
    const samePart = (a, b) => a.memory === b.memory && a.entry === b.entry && sameLists(a.ranges, b.ranges, sameRange);
    if (!sameLists(parts, claims.payload.parts, samePart)) {
      throw claimFault(place("payload"), "other ranges than the region map gives", "exactly the payload's areas");
    }
    await this.compareFullPayload();
    if (!sameLists(describeBinding(this.plan), claims.binding, (a, b) => a.name === b.name && samePlace(a, b))) {
      throw claimFault(place("binding"), "other fields than the region map binds", "the region map's binding fields");
    }
    this.result.editableShare = editableShareOf(this.plan, shape);
  }

  // A full payload carries locked bytes too: they are not laid down, but they must not lie.
  async compareFullPayload() {
    if (this.claims.payload.kind !== "full") return;
    const carried = imageOfBase(this.opened);
    for (const { memory, range, kind, after } of this.claims.spans) {
      if (kind !== "locked" || after === "") continue;
      const found = await sha256(viewOf(memoryNamed(carried, memory), range));
      if (found === after) continue;
      throw claimFault(`controllers/0/payload, ${memory} ${rangeText(range)}`, `locked bytes with SHA-256 ${found}`,
        `${after} as the span says`);
    }
  }

  // Erasing takes the whole sector, so what the vehicle keeps there must be in the read, and new.
  judgeFreshness() {
    const written = writeRangesOf(this.plan, this.before);
    const sectors = this.map.sectors.filter(({ memory, range }) => written[memory].overlaps(range));
    for (const { memory, range } of sectors) {
      const missing = this.baseKnown[memory].within(range);
      missing.removeAll(this.before.memories[memory].known);
      if (missing.empty) continue;
      throw new Refusal("read-incomplete", { place: placeText(this.map, { memory, range: missing.ranges[0] }),
        found: "bytes that the read does not hold, in an erase sector to be written", expected: "every byte of such a sector",
        next: "read the controller again, with all the memories of the first read" });
    }
    if (this.evidence.readIsFresh) return;
    const stale = (place, found) => new Refusal("read-not-fresh", { place, found, expected: "a read that is declared fresh",
      next: "read the controller now, do not drive in between, and declare the read fresh" });
    for (const sector of sectors) {
      for (const kind of ["volatile", "floating"]) {
        const held = bytesOfKind(this.plan, sector.memory, kind).within(sector.range);
        if (held.empty) continue;
        throw stale(`sector ${placeText(this.map, sector)}`,
          `an erase sector to be written that also holds ${kind} bytes at ${rangeText(held.ranges[0])}`);
      }
    }
    for (const [memory, set] of written.entries()) {
      const floating = bytesOfKind(this.plan, memory, "floating").intersect(set);
      if (floating.empty) continue;
      throw stale(placeText(this.map, { memory, range: floating.ranges[0] }), "a checksum to be written that also covers volatile bytes");
    }
  }

  async rebuildFloating() {
    await correctFloating(this.plan, this.image);
    const { spans } = this.claims;
    const digests = [];
    for (const { memory, range, kind, after } of spans) {
      const held = memoryNamed(this.image, memory);
      // Locked spans were compared when the read was matched, and nothing has touched them since.
      if (kind === "locked" && after !== "") digests.push(after);
      else digests.push(isPinned(kind) && held.known.contains(range) ? await sha256(viewOf(held, range)) : "");
    }
    const text = (digest, otherwise) => (digest === "" ? otherwise : `SHA-256 ${digest}`);
    spans.forEach(({ memory, range, after }, i) => {
      if (digests[i] === after) return;
      throw new Refusal("result-mismatch", { place: `${memory} ${rangeText(range)}`, found: text(digests[i], "unknown bytes"),
        expected: text(after, "no digest"), next: "do not write; get the bundle again, and read the controller again" });
    });
    const pinned = await pinnedDigest(spans, digests);
    if (pinned !== this.claims.pinned.after) {
      throw claimFault("controllers/0/pinned/after", this.claims.pinned.after, `${pinned} as computed`);
    }
  }

  async prove() {
    const { patches } = this.claims;
    this.proof = await proveConfinement(this.plan, this.before, this.image);
    this.result.bytesToChange = this.proof.changedBytes;
    const applied = this.proof.patchesApplied;
    if (applied.length !== patches.length) {
      throw claimFault("controllers/0/patches", `${patches.length} patches`, `${applied.length} as in the region map`);
    }
    patches.forEach(({ name, state }, i) => {
      if (name === this.map.patches[i].name && (state === "after") === applied[i]) return;
      throw claimFault(`controllers/0/patches/${i}`, name, `${this.map.patches[i].name} as in the bytes`);
    });
    // The list of changes is relative to the base, so it can be proved when the read is the base. Where it is right, it is
    // right whatever was read.
    const found = describeChanges(this.plan, this.before, this.image);
    const isSame = sameLists(found, this.opened.changes, (a, b) => samePlace(a, b) && a.region === b.region);
    if (isSame || !(await this.isReadTheBase())) return;
    throw claimFault("changes.json", `${this.opened.changes.length} ranges that are not the changes`,
      `${found.length} ranges as in the bytes`);
  }

  async isReadTheBase() {
    for (const { memory, range, before } of this.claims.spans) {
      if (before === "") continue;
      if ((await sha256(viewOf(memoryNamed(this.before, memory), range))) !== before) return false;
    }
    return true;
  }

  async judgeChecks() {
    const { checks } = this.proof;
    const said = this.claims.checksums;
    if (checks.length !== said.length) {
      throw claimFault("controllers/0/checksums", `${said.length} checksums`, `${checks.length} as in the region map`);
    }
    checks.forEach((outcome, i) => {
      const { name, state_after: state, after } = said[i];
      const cameFailing = this.cameFailing(said[i]);
      if (outcome.state === "fails" && !cameFailing) throw failureOf(this.plan, outcome);
      if (outcome.state === "not-provable" && state === "holds") {
        throw new Refusal("checksum-not-provable", { place: outcome.name, found: outcome.detail,
          expected: "a checksum that holds, as sealed", next: "read the controller again, with all the memories of the first read" });
      }
      // What floats was corrected for this read, so it holds whatever came.
      const isMended = cameFailing && outcome.floating && outcome.state === "holds";
      if (name === outcome.name && (state === outcome.state || isMended) && after === describeCheck(outcome)) return;
      throw claimFault(`controllers/0/checksums/${i}`, `${name} ${after}`, `${outcome.name} ${describeCheck(outcome)} as computed`);
    });
    if (!sameLists(describeIdentity(this.plan, this.image), this.claims.identity, (text, { after }) => text === after)) {
      throw claimFault("controllers/0/identity", "other texts than the image holds", "the identity fields of the result");
    }
    const ofRead = await verifyChecks(this.plan, this.before);
    ofRead.forEach(({ name, state, detail }, i) => {
      if (state !== "fails") return;
      const rest = this.cameFailing(said[i]) ? "" : "; the result holds";
      this.result.cautions.push({ code: "read-checksum-fails",
        text: `in the read, ${name} does not hold (${detail}): it was read while running, half written, or edited${rest}` });
    });
  }

  // The way back restores what was received, and what did not hold then does not have to hold now.
  cameFailing(said) {
    return this.opened.manifest.revision === 0 && said.state_after === "fails";
  }

  async render() {
    this.result.files = await renderRead(this.map, this.read, this.image);
  }
}

// `note(step)` is called when a step has passed.
export async function rebuild(opened, read, evidence, note) {
  const rebuilding = new Rebuilding(opened, read, evidence);
  const steps = [
    ["match", () => rebuilding.match()],
    ["claims", () => rebuilding.compareStructure()],
    ["freshness", () => rebuilding.judgeFreshness()],
    ["rebuild", () => rebuilding.rebuildFloating()],
    ["confinement", () => rebuilding.prove()],
    ["checksums", () => rebuilding.judgeChecks()],
  ];
  for (const [name, run] of steps) {
    await run();
    note(name);
  }
  await rebuilding.render();
  return rebuilding.result;
}
