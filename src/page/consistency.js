// What must fit together in a manifest, in the order of the format's page. What needs the region map or the bytes of the
// image is proved later.

import { addressText, grouped, printable, rangeText } from "./bytes.js";
import { pinnedDigest } from "./pinned_digest.js";
import { rangeHolds, sizeOf } from "./place.js";
import { RangeSet } from "./range_set.js";
import { Refusal } from "./reason.js";
import { REGION_MAP_MOST } from "./region_map.js";
import { isAscending, namesAreUnique, parseTime } from "./schema.js";

const MEMORIES_TOGETHER = 2 ** 28;
export const CONTENTS_TOGETHER = 2 ** 29;
const INFLATION_MOST = 1032; // two bits give at most 258 bytes: RFC 1951
const CHANGES_MOST = 2 ** 23;
const SET_MOST = 2 ** 16;
const CONTENT_MOST = 2 ** 28;

const PINNED_KINDS = ["locked", "editable", "derived"];

// Ascending, with at least one byte between two.
function isNormal(ranges) {
  return ranges.every((range, i) => i === 0 || ranges[i - 1].end < range.begin);
}

function namedPlaceText({ memory, range }) {
  return `${memory} ${rangeText(range)}`;
}

export async function checkConsistency(manifest, name) {
  const controller = manifest.controllers[0];
  const { memories, spans } = controller;

  function refuse(pointer, found, expected) {
    throw new Refusal("manifest-invalid", {
      file: name, place: pointer, found, expected, next: "do not use this bundle; ask its sender for a new one",
    });
  }
  function demand(holds, pointer, found, expected) {
    if (!holds) refuse(pointer, found, expected);
  }
  // The index of the memory that holds a place whole, or -1.
  function homeOf({ memory, range }) {
    return memories.findIndex((one) => one.name === memory && rangeHolds(one.extent, range));
  }

  checkHead(manifest, demand);

  // 2. Memories. From here on `accounts` says, per memory, what kind of bytes stands where.
  demand(memories.length > 0, "/memories", "no memory", "at least one");
  demand(namesAreUnique(memories), "/memories", "one name twice", "each name once");
  for (const [i, memory] of memories.entries()) {
    demand(isNormal(memory.known), `/memories/${i}/known`, "ranges out of order, or that touch", "unknown bytes between two");
    for (const range of memory.known) {
      demand(rangeHolds(memory.extent, range), `/memories/${i}/known`, rangeText(range), `inside ${rangeText(memory.extent)}`);
    }
  }
  const total = memories.reduce((sum, { extent }) => sum + sizeOf(extent), 0);
  demand(total <= MEMORIES_TOGETHER, "/memories", `${grouped(total)} bytes together`, `at most ${grouped(MEMORIES_TOGETHER)}`);
  const accounts = memories.map(({ known }) => ({
    known: new RangeSet(known),
    pinned: new RangeSet(),
    areas: new RangeSet(), // pinned, and not locked
    binding: new RangeSet(),
    writable: new RangeSet(), // known, and not volatile
  }));

  // 3. Spans follow one another over all memories.
  const isPatched = controller.patches.some(({ base, result }) => base !== result);
  let memory = 0;
  let at = memories[0].extent.begin;
  for (const [i, span] of spans.entries()) {
    if (at === memories[memory].extent.end && memory + 1 < memories.length) at = memories[++memory].extent.begin;
    const { name: home, extent } = memories[memory];
    const follows = span.memory === home && span.range.begin === at && span.range.end <= extent.end;
    demand(follows, `/spans/${i}`, namedPlaceText(span), `a span inside ${home} that begins at ${addressText(at)}`);
    at = span.range.end;
    accountFor(span, accounts[memory], isPatched, (holds, found, expected) =>
      demand(holds, `/spans/${i}`, found, expected),
    );
  }
  const complete = memory + 1 === memories.length && at === memories[memory].extent.end;
  demand(complete, "/spans", `no span at ${memories[memory].name} ${addressText(at)}`, "spans over every byte of every memory");

  // 4. Pinned digests.
  for (const side of ["before", "after"]) {
    const digest = await pinnedDigest(spans, spans.map((span) => span[side]));
    demand(digest === controller.pinned[side], `/pinned/${side}`, controller.pinned[side], `${digest}, as the spans give it`);
  }

  // 5. Binding fields are the binding spans.
  demand(namesAreUnique(controller.binding), "/binding", "one name twice", "each name once");
  const fields = memories.map(() => new RangeSet());
  for (const [i, field] of controller.binding.entries()) {
    const home = homeOf(field);
    demand(home >= 0, `/binding/${i}`, namedPlaceText(field), "a range inside one memory");
    if (field.digest !== "") {
      demand(manifest.salt_digest !== "", `/binding/${i}/digest`, "a digest", "none without a salt");
      demand(accounts[home].known.contains(field.range), `/binding/${i}/digest`, "a digest of unknown bytes", "none");
    }
    demand(!fields[home].overlaps(field.range), `/binding/${i}`, namedPlaceText(field), "bytes of no other binding field");
    fields[home].add(field.range);
  }
  for (const [i, set] of fields.entries()) {
    demand(set.equals(accounts[i].binding), "/binding", `other bytes of ${memories[i].name} than the binding spans`, "the same bytes");
  }

  checkClaims(manifest, demand);

  // 7. Write ranges.
  let last = { home: 0, end: 0 };
  for (const [i, place] of controller.write_ranges.entries()) {
    const home = homeOf(place);
    demand(home >= 0, `/write_ranges/${i}`, namedPlaceText(place), "a range inside one memory");
    const inOrder = home > last.home || (home === last.home && place.range.begin >= last.end);
    demand(inOrder, `/write_ranges/${i}`, namedPlaceText(place), "memories in order, ranges ascending");
    demand(accounts[home].writable.contains(place.range), `/write_ranges/${i}`, namedPlaceText(place), "known bytes that are not volatile");
    last = { home, end: place.range.end };
  }

  checkPayload(manifest, accounts, demand);
  if (manifest.revision === 0) checkWayBack(manifest, demand);
  checkWords(manifest, demand);
  checkEntrySizes(manifest.entries, demand);
  checkEntryList(manifest, demand);
}

// 1. Numbers, times, roles.
function checkHead(manifest, demand) {
  const { revision, sequence, parent, trial, expires, claimed_time: claimed, required_roles: roles } = manifest;
  demand(sequence >= revision + 1, "/sequence", String(sequence), "at least the revision's number and one");
  demand(parent !== "" || (revision === 0 && manifest.base.number === 1), "/parent", "no parent", "the manifest digest of the parent");
  demand(trial === (expires !== ""), "/expires", expires || "no time", "a time exactly for a trial");
  demand(!trial || revision !== 0, "/trial", "true", "false for revision 0, the way back");
  demand(!trial || parseTime(expires) > parseTime(claimed), "/expires", expires, `a time after ${claimed}`);
  demand(roles[0] === "author" && isAscending(roles), "/required_roles", "another list", "author, or author and reviewer");
}

// Notes what a span says about its bytes.
function accountFor({ range, kind, before, after }, account, isPatched, demand) {
  const known = account.known.contains(range);
  demand(known || !account.known.overlaps(range), `${rangeText(range)}, partly known`, "a cut where known and unknown bytes meet");
  const pinned = known && PINNED_KINDS.includes(kind);
  const digestsFit = (before !== "") === pinned && (after !== "") === pinned;
  demand(digestsFit, "a digest too much or too few", pinned ? "digests before and after" : "no digest on bytes that are not pinned");
  const mayDiffer = kind !== "locked" || isPatched;
  demand(mayDiffer || before === after, "locked bytes that changed", "equal digests where no patch differs in base and result");
  if (pinned) account.pinned.add(range);
  if (pinned && kind !== "locked") account.areas.add(range);
  if (kind === "binding") account.binding.add(range);
  if (known && kind !== "volatile") account.writable.add(range);
}

// 6. What is only compared later must at least be well formed.
function checkClaims({ revision, controllers: [controller] }, demand) {
  const { identity, patches, files, memories, checksums } = controller;
  demand(namesAreUnique(identity), "/identity", "one name twice", "each name once");
  demand(namesAreUnique(patches), "/patches", "one name twice", "each name once");
  let next = 0;
  for (const [i, file] of files.entries()) {
    // A file that holds several memories names none, and stands before those that do.
    if (file.memory === "" && next === 0) continue;
    const home = memories.findIndex((memory) => memory.name === file.memory);
    demand(home >= next, `/files/${i}`, file.memory || "no memory", "memories in order, each at most once");
    next = home + 1;
  }
  if (revision > 0) checkRebuiltFiles(controller, demand);
  for (const [i, { state, value }] of checksums.entries()) {
    demand(state !== "not-provable" || value === "", `/checksums/${i}`, "a value that is not provable", "an empty text");
  }
}

// Of a later revision: the raw file of each memory where every byte is pinned, otherwise none.
function checkRebuiltFiles({ files, memories, spans }, demand) {
  const isWhole = spans.every(({ after }) => after !== "");
  demand(files.length === (isWhole ? memories.length : 0), "/files", `${files.length} files`,
    isWhole ? "one for each memory" : "none where a byte is not pinned");
  for (const [i, { memory, form, size }] of files.entries()) {
    const { name, extent } = memories[i];
    const isRawFile = memory === name && form === "raw" && size === sizeOf(extent);
    demand(isRawFile, `/files/${i}`, `${memory} ${form}, ${grouped(size)} bytes`, `${name} raw, ${grouped(sizeOf(extent))} bytes`);
  }
}

// 8. What each part must hold: everything known in revision 0; later all that is pinned (full), or all that may have
// changed and pinned bytes only (areas).
function checkPayload({ revision, controllers: [{ memories, payload }] }, accounts, demand) {
  const full = payload.kind === "full";
  const needed = (account) => (full ? (revision === 0 ? account.known : account.pinned) : account.areas);
  const covered = new Set();
  let next = 0;
  for (const [i, part] of payload.parts.entries()) {
    const pointer = `/payload/parts/${i}`;
    const home = memories.findIndex((memory) => memory.name === part.memory);
    demand(home >= next, `${pointer}/memory`, part.memory, "memories in order, each at most once");
    next = home + 1;
    covered.add(home);
    demand(
      part.ranges.length > 0 && isNormal(part.ranges),
      `${pointer}/ranges`,
      "no range, or ranges that touch",
      "ascending ranges, other bytes between them",
    );
    const ranges = new RangeSet(part.ranges);
    if (full) {
      const expected = revision === 0 ? "every known byte" : "every pinned byte";
      demand(ranges.equals(needed(accounts[home])), `${pointer}/ranges`, "other bytes than a full payload has", expected);
    } else {
      const { pinned, areas } = accounts[home];
      demand(
        part.ranges.every((range) => pinned.contains(range)),
        `${pointer}/ranges`,
        "bytes that are not pinned",
        "pinned bytes only",
      );
      demand(
        areas.ranges.every((range) => ranges.contains(range)),
        `${pointer}/ranges`,
        "an editable or derived byte is missing",
        "all of them",
      );
    }
  }
  for (const [i, account] of accounts.entries()) {
    demand(covered.has(i) || needed(account).empty, "/payload/parts", `no part for ${memories[i].name}`, "a part for each memory with bytes");
  }
}

// 9. Revision 0 changes nothing.
function checkWayBack({ ordered, controllers: [{ payload, spans, patches }] }, demand) {
  demand(payload.kind === "full", "/payload/kind", "areas", "full for revision 0");
  const isSame = spans.every(({ before, after }) => before === after);
  demand(isSame, "/spans", "a digest that differs before and after", "equal ones in revision 0");
  demand(patches.every(({ base, result }) => base === result), "/patches", "a patch that differs in base and result", "equal ones in revision 0");
  demand(ordered.time === "", "/ordered/time", ordered.time, "no order in revision 0");
}

// 10. Lists of words.
function checkWords(manifest, demand) {
  const { permitted_returns: returns, options, attachments } = manifest;
  demand(isAscending(returns), "/permitted_returns", "digests out of order or twice", "ascending digests, each once");
  demand(namesAreUnique(options), "/options", "one name twice", "each name once");
  checkOrderOfOptions(manifest, demand);
  for (const [i, { entry }] of attachments.entries()) {
    demand(isAttachment(entry), `/attachments/${i}/entry`, printable(entry, 100), "attachments/ and a plain file name");
  }
  demand(isAscending(attachments, ({ entry }) => entry), "/attachments", "entries out of order or twice", "ascending, each once");
}

// What was ordered says of each option that it is in this revision, or why not; the options themselves tell which.
function checkOrderOfOptions({ options, ordered }, demand) {
  const { time, parcel, options: wanted } = ordered;
  demand(time !== "" || (parcel === "" && wanted.length === 0), "/ordered", "an order without a time", "a time, or no order");
  demand(isAscending(wanted, ({ name }) => name), "/ordered/options", "names out of order or twice", "names ascending, each once");
  const titles = new Map(options.map(({ name, title }) => [name, title]));
  for (const [i, { name, title, why }] of wanted.entries()) {
    const pointer = `/ordered/options/${i}`;
    const isIn = titles.has(name);
    demand(!isIn || why === "", `${pointer}/why`, "a reason why it is not in this revision", `none: ${name} is among the options`);
    demand(isIn || why !== "", `${pointer}/why`, "no reason", `why ${name} is not in this revision`);
    demand(!isIn || title === titles.get(name), `${pointer}/title`, printable(title), "the title that it has among the options");
  }
}

function isAttachment(entry) {
  const file = /^attachments\/([a-z0-9][a-z0-9._-]{0,99})$/.exec(entry)?.[1];
  if (file === undefined || file.includes("..") || file.endsWith(".")) return false;
  // Names that some systems take for devices, whatever follows the first dot.
  return !/^(con|prn|aux|nul|com[1-9]|lpt[1-9])(\.|$)/.test(file);
}

// 11. Sizes and digests of entries.
export function checkEntrySizes(entries, demand) {
  for (const [i, { method, size, stored_size: stored, digest, stored_digest: storedDigest }] of entries.entries()) {
    const fits =
      method === "stored"
        ? stored === size && storedDigest === digest
        : stored < size && size <= stored * INFLATION_MOST;
    demand(
      fits,
      `/entries/${i}`,
      `${grouped(stored)} bytes ${method} of ${grouped(size)}`,
      "equal sizes and digests; deflated: fewer, by no more than 1,032 to 1",
    );
  }
  const total = entries.reduce((sum, { size }) => sum + size, 0);
  demand(total <= CONTENTS_TOGETHER, "/entries", `${grouped(total)} bytes of content`, `at most ${grouped(CONTENTS_TOGETHER)}`);
}

// 12. The list that follows from the other fields is the list of entries.
function checkEntryList(manifest, demand) {
  const controller = manifest.controllers[0];
  const { entries } = manifest;
  let next = 0;
  function expect(name, { most, plain = false, digest = null }) {
    const pointer = `/entries/${next}`;
    const entry = entries[next];
    demand(entry !== undefined, pointer, "the end of the list", name);
    demand(entry.name === name, `${pointer}/name`, printable(entry.name), name);
    demand(!plain || entry.method === "stored", `${pointer}/method`, "deflated", "stored");
    demand(entry.size <= most, `${pointer}/size`, grouped(entry.size), `at most ${grouped(most)}`);
    demand(digest === null || entry.digest === digest, `${pointer}/digest`, entry.digest, `${digest}, as stated above`);
    ++next;
    return entry;
  }
  expect(`regions/${controller.name}.json`, { most: REGION_MAP_MOST, plain: true, digest: controller.region_map.digest });
  expect("changes.json", { most: CHANGES_MOST });
  if (manifest.set !== "") expect("set.json", { most: SET_MOST, plain: true, digest: manifest.set });
  for (const [i, part] of controller.payload.parts.entries()) {
    const wanted = `payload/${controller.name}/${part.memory}.bin`;
    demand(part.entry === wanted, `/payload/parts/${i}/entry`, printable(part.entry), wanted);
    const { size } = expect(wanted, { most: CONTENT_MOST });
    const sum = part.ranges.reduce((bytes, range) => bytes + sizeOf(range), 0);
    demand(size === sum, "/entries", `${part.entry} of ${grouped(size)} bytes`, `${grouped(sum)}, the sum of its ranges`);
  }
  for (const { entry } of manifest.attachments) expect(entry, { most: CONTENT_MOST });
  demand(next === entries.length, `/entries/${next}`, printable(entries[next]?.name ?? ""), "no further entry");
}
