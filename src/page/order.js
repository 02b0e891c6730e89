// Where a revision stands in time: against what was accepted before, what the shop has withdrawn, and the clock. None of
// this can make a bundle acceptable. docs/order.md.
//
// `order` is {rootId, state, withdrawals, jobList, newest, declaredReturn}; what is not there is null.

import { printable } from "./bytes.js";
import { Refusal } from "./reason.js";
import { findJob, findRoot } from "./state.js";

export function judgeWithdrawal(manifest, digest, order, name, cautions) {
  const notice = order.withdrawals?.notices.find(({ revision }) => revision === digest);
  // A list given is at least as new as the one remembered, and replaces it.
  const remembered = order.withdrawals === null && (findRoot(order.state, order.rootId)?.withdrawn.includes(digest) ?? false);
  if (notice === undefined && !remembered) return;
  if (manifest.revision === 0) {
    cautions.push({
      code: "withdrawal-without-effect",
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

// Every revision of this job and controller that somebody is known to have sealed; and the returns that the newest
// accepted bundle permits, null where none is known.
function gatherKnown(manifest, order) {
  const known = [];
  let returns = null;
  const job = findJob(findRoot(order.state, order.rootId), manifest.job, manifest.controllers[0].name);
  if (job !== undefined) {
    const source = "the checker's state";
    known.push({
      digest: job.revision,
      base: job.base,
      sequence: job.sequence,
      isWayBack: job.way_back === job.revision,
      source,
    });
    if (job.way_back !== "" && job.way_back !== job.revision)
      known.push({ digest: job.way_back, base: job.base, sequence: job.way_back_sequence, isWayBack: true, source });
    returns = job.returns;
  }
  if (order.newest !== null) {
    const { manifest: newest, digest } = order.newest;
    if (job === undefined || newest.sequence >= job.sequence) returns = newest.permitted_returns;
    const source = "the newer bundle beside it";
    known.push({ digest, base: newest.base.number, sequence: newest.sequence, isWayBack: newest.revision === 0, source });
  }
  for (const { digest, base, revision, sequence } of order.jobList?.revisions ?? []) {
    known.push({ digest, base, sequence, isWayBack: revision === 0, source: "the shop's list of revisions" });
  }
  return { known, returns };
}

function highest(known) {
  return known.reduce((best, one) => (best === undefined || one.sequence > best.sequence ? one : best), undefined);
}

// Gives the passage by which the revision is let through.
export function judgeSequence(manifest, digest, order, name) {
  const { known, returns } = gatherKnown(manifest, order);
  if (known.length === 0) return "unknown";
  const refuse = (code, place, found, expected, next) => {
    throw new Refusal(code, { file: name, place, found, expected, next });
  };
  const { sequence } = manifest;
  const base = Math.max(...known.map((one) => one.base));
  if (manifest.base.number < base) {
    refuse(
      "base-old",
      "base",
      `base ${manifest.base.number}`,
      `base ${base}, the job's newest`,
      "use a bundle of the newest base; what was sealed before it does not fit any more",
    );
  }
  const listed = order.jobList?.revisions;
  if (listed !== undefined && sequence <= listed.at(-1).sequence && !listed.some((one) => one.digest === digest)) {
    refuse(
      "not-listed",
      `manifest ${digest}`,
      `sequence ${sequence}, not in the list of ${order.jobList.claimed_time}`,
      `one of the ${listed.length} revisions listed`,
      "do not use this bundle; ask the shop which revision is meant",
    );
  }
  const twin = known.find((one) => one.sequence === sequence && one.digest !== digest);
  if (twin !== undefined) {
    refuse(
      "sequence-conflict",
      `sequence ${sequence}`,
      `manifest ${digest}`,
      `manifest ${twin.digest}, known from ${twin.source}`,
      "use neither; ask the shop, which may have sealed twice or lost a key",
    );
  }
  const newest = highest(known);
  if (sequence > newest.sequence) return "newer";
  if (sequence === newest.sequence) return "newest";
  const old = (expected, next) => refuse("sequence-old", "sequence", `sequence ${sequence}`, expected, next);
  if (manifest.base.number > base)
    old(
      `more than sequence ${newest.sequence}, since sequences run on across bases`,
      "do not use this bundle; ask the shop",
    );
  if (manifest.revision === 0) {
    const wayBack = highest(known.filter((one) => one.isWayBack && one.base === base));
    if (wayBack === undefined || wayBack.sequence <= sequence) return "way-back";
    old(`revision 0 with sequence ${wayBack.sequence} from ${wayBack.source}, which replaced this one`, "use the newer revision 0");
  }
  if (order.declaredReturn) {
    if (returns?.includes(digest)) return "return";
    old(
      "a return that the newest accepted bundle permits",
      "lay the newest accepted bundle beside it; or use the way back (revision 0), or ask the shop",
    );
  }
  return old(
    `at least sequence ${newest.sequence} from ${newest.source}`,
    "use the newest revision; to go back: revision 0, or an earlier revision that the newest one permits, with your word for it",
  );
}

// The clock decides over trials alone. Times are texts of one length and compare as such.
export function judgeClock(manifest, now, order, name, cautions) {
  const seen = order.state?.last_time ?? "";
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
        next: "set the clock of this machine, then check again",
      });
    }
    cautions.push({ code: "clock-implausible", text: `this machine's clock says ${now}, before ${why} (${least}): set it` });
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
