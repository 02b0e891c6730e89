// Where a revision stands in time: against what was accepted before, what the shop has withdrawn, and the clock. None of
// this can make a bundle acceptable. docs/order.md.
//
// `order` is {trust, state, withdrawals, withdrawn, jobList, newest, hasRead, declaredReturn, declaredOldBase, declaredClock}; what is
// not there is null. `state` is what followChain() gave, `withdrawn` the set of digests that it keeps in force beside the list.

import { printable } from "./bytes.js";
import { isWayBackAccepted, knownJobs, newestAccepted, revisionCounts } from "./known.js";
import { Refusal } from "./reason.js";

export function judgeWithdrawal(manifest, digest, order, name, cautions) {
  const notice = order.withdrawals?.notices.find(({ revision }) => revision === digest);
  if (notice === undefined && !order.withdrawn.has(digest)) return;
  if (manifest.revision === 0) {
    cautions.push({
      code: "withdrawal-without-effect",
      parts: {},
      text: "a notice names this revision 0; the way back is never withdrawn: ask the shop",
    });
    return;
  }
  let found = "named in a list seen before";
  let next = "do not write it; use the newest revision, or the way back (revision 0)";
  if (notice !== undefined) {
    found = `${notice.class}: ${printable(notice.text)}`;
    if (notice.action === "go-back") {
      const goal = notice.go_to === "" ? "revision 0" : `the revision with manifest ${notice.go_to}`;
      next = `do not write it; where it is in the vehicle, go back now to ${goal}`;
    }
  }
  throw new Refusal("withdrawn", {
    file: name, place: `manifest ${digest}`, found, expected: "a revision that the shop has not withdrawn", next,
  });
}

// Every revision of this job and controller that somebody is known to have sealed; the returns that the newest accepted
// revision permits, null where none is known; and whether this very bundle is a revision 0 that was accepted before.
function gatherKnown(manifest, digest, order) {
  const jobs = knownJobs(order, manifest.job, manifest.controllers[0].name);
  const fromState = (isWayBack) => ({ revision, base, sequence }) =>
    ({ digest: revision, base, sequence, isWayBack, source: "the checker's state" });
  const counting = (list) => list.filter((one) => revisionCounts(one, order.trust));
  const known = jobs.flatMap(({ revisions, ways_back: waysBack }) =>
    [...counting(revisions).map(fromState(false)), ...counting(waysBack).map(fromState(true))]);
  const acceptedBefore = isWayBackAccepted(jobs, digest);
  let returns = newestAccepted(jobs, order.trust)?.returns ?? null;
  if (order.newest !== null) {
    const { manifest: newest, digest: newestDigest } = order.newest;
    if (known.every(({ sequence }) => sequence <= newest.sequence)) returns = newest.permitted_returns;
    const source = "the newer bundle beside it";
    known.push({ digest: newestDigest, base: newest.base.number, sequence: newest.sequence, isWayBack: newest.revision === 0, source });
  }
  for (const { digest: listed, base, revision, sequence } of order.jobList?.revisions ?? []) {
    known.push({ digest: listed, base, sequence, isWayBack: revision === 0, source: "the shop's list of revisions" });
  }
  return { known, returns, acceptedBefore, base: Math.max(0, ...known.map((one) => one.base)), newest: highest(known) };
}

function highest(known) {
  return known.reduce((best, one) => (best === undefined || one.sequence > best.sequence ? one : best), undefined);
}

// The newest revision 0 of the same base that replaced this one; undefined where none did.
function replacementOf(manifest, known) {
  return highest(known.filter((one) => one.isWayBack && one.base === manifest.base.number && one.sequence > manifest.sequence));
}

function sequenceRefusal(name, code, place, found, expected, next) {
  return new Refusal(code, { file: name, place, found, expected, next });
}

// Nobody who signs a newer base or another revision 0 takes this one away: whether it fits, the read says.
function passWayBack(manifest, order, { known, base, newest }, name, cautions) {
  const own = manifest.base.number;
  if (own < base) {
    if (!order.hasRead && !order.declaredOldBase) {
      throw sequenceRefusal(
        name,
        "base-old",
        "base",
        `base ${own}`,
        `base ${base}, the job's newest`,
        "give the read, which says what the controller holds; or, where it cannot be read and has this base, say so",
      );
    }
    cautions.push({
      code: "base-other",
      parts: { base, own },
      text: `base ${base} of this job is known; this revision 0 is of base ${own}, and fits only a controller that has that base`,
    });
  }
  const newer = replacementOf(manifest, known);
  if (newer !== undefined) {
    cautions.push({
      code: "way-back-replaced",
      parts: { sequence: newer.sequence },
      text: `the shop has sealed another revision 0 of this base, sequence ${newer.sequence}: ask it which is right`,
    });
  }
  if (newest === undefined) return "unknown";
  if (manifest.sequence === newest.sequence) return "newest";
  return manifest.sequence > newest.sequence ? "newer" : "way-back";
}

function checkListed({ sequence }, digest, jobList, name) {
  const listed = jobList?.revisions;
  if (listed === undefined || sequence > listed.at(-1).sequence || listed.some((one) => one.digest === digest)) return;
  throw sequenceRefusal(
    name,
    "not-listed",
    `manifest ${digest}`,
    `sequence ${sequence}, not in the list of ${jobList.claimed_time}`,
    `one of the ${listed.length} revisions listed`,
    "do not use this bundle; ask the shop which revision is meant",
  );
}

// A revision that is older than the newest known.
function judgeOlder(manifest, digest, order, { known, returns, base, newest }, name) {
  const old = (expected, next) => sequenceRefusal(name, "sequence-old", "sequence", `sequence ${manifest.sequence}`, expected, next);
  if (manifest.base.number > base) {
    throw old(
      `more than sequence ${newest.sequence}, since sequences run on across bases`,
      "do not use this bundle; ask the shop",
    );
  }
  if (manifest.revision === 0) {
    const newer = replacementOf(manifest, known);
    if (newer === undefined) return "way-back";
    throw old(`revision 0 with sequence ${newer.sequence} from ${newer.source}, which replaced this one`, "use the newer revision 0");
  }
  if (!order.declaredReturn) {
    throw old(
      `at least sequence ${newest.sequence} from ${newest.source}`,
      "use the newest revision; to go back: revision 0, or an earlier revision that the newest one permits, with your word for it",
    );
  }
  if (returns?.includes(digest)) return "return";
  throw old(
    "a return that the newest accepted bundle permits",
    "give the newest accepted bundle too; or use the way back (revision 0), or ask the shop",
  );
}

// Gives the passage by which the revision is let through.
export function judgeSequence(manifest, digest, order, name, cautions) {
  const knowledge = gatherKnown(manifest, digest, order);
  const { known, base, newest } = knowledge;
  if (knowledge.acceptedBefore) return passWayBack(manifest, order, knowledge, name, cautions);
  if (newest === undefined) return "unknown";
  if (manifest.base.number < base) {
    throw sequenceRefusal(
      name,
      "base-old",
      "base",
      `base ${manifest.base.number}`,
      `base ${base}, the job's newest`,
      "use a bundle of the newest base; what was sealed before it does not fit any more",
    );
  }
  checkListed(manifest, digest, order.jobList, name);
  const twin = known.find((one) => one.sequence === manifest.sequence && one.digest !== digest);
  if (twin !== undefined) {
    throw sequenceRefusal(
      name,
      "sequence-conflict",
      `sequence ${manifest.sequence}`,
      `manifest ${digest}`,
      `manifest ${twin.digest}, known from ${twin.source}`,
      "use neither; ask the shop, which may have sealed twice or lost a key",
    );
  }
  if (manifest.sequence > newest.sequence) return "newer";
  if (manifest.sequence === newest.sequence) return "newest";
  return judgeOlder(manifest, digest, order, knowledge, name);
}

// The clock decides over trials alone. Times are texts of one length and compare as such.
export function judgeClock(manifest, now, order, name, cautions) {
  const seen = order.declaredClock ? "" : (order.state?.last_time ?? "");
  const sealed = manifest.claimed_time >= seen;
  const least = sealed ? manifest.claimed_time : seen;
  if (now < least) {
    const why = sealed ? "the time of sealing" : "a time seen before";
    if (manifest.trial) {
      throw new Refusal("clock-implausible", {
        file: name,
        place: "claimed_time",
        found: `this machine's clock says ${now}`,
        expected: `not before ${least}, ${why}`,
        next: sealed
          ? "set the clock of this machine, then check again"
          : "set the clock of this machine; or, where it is right and was wrong before, say so",
      });
    }
    cautions.push({ code: "clock-implausible", parts: { now, least }, text: `this machine's clock says ${now}, before ${why} (${least}): set it` });
  }
  if (!manifest.trial || now < manifest.expires) return;
  throw new Refusal("expired", {
    file: name,
    place: "expires",
    found: `a trial that ended at ${manifest.expires}`,
    expected: `a time before that; this machine's clock says ${now}`,
    next: "ask the shop for the final revision",
  });
}
