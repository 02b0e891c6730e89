#include "calseal/check/order.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/check/known.h"

namespace calseal {
namespace {

// One revision that somebody is known to have sealed, and from where we know it.
struct KnownRevision {
  Sha256 digest;
  std::uint64_t base = 1;
  std::uint64_t revision = 0;
  std::uint64_t sequence = 1;
  const char* source = "";
};

// Everything known about one controller of one job.
struct Knowledge {
  std::vector<KnownRevision> revisions;
  std::uint64_t base = 0;                        // highest; 0: nothing known
  const KnownRevision* newest = nullptr;         // highest sequence
  const std::vector<Sha256>* returns = nullptr;  // of the newest accepted revision
  bool accepted_before = false;                  // this very bundle, as a revision 0
};

constexpr const char* kFromState = "the checker's state";
constexpr const char* kFromList = "the shop's list of revisions";
constexpr const char* kFromNewest = "the newer bundle beside it";

void gather_state(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence,
                  Knowledge& known) {
  if (!evidence.state) return;
  const std::vector<const JobState*> jobs =
      known_jobs(*evidence.state, *evidence.trust, manifest.job, manifest.controller().name);
  const auto add = [&](const AcceptedRevision& one, std::uint64_t revision) {
    if (counts(one, *evidence.trust))
      known.revisions.push_back({one.revision, one.base, revision, one.sequence, kFromState});
  };
  known.accepted_before = accepted_way_back(jobs, digest);
  for (const JobState* job : jobs) {
    // The state does not keep the revision's number; only whether it is a way back matters.
    for (const KeptRevision& kept : job->revisions) add(kept, 1);
    for (const AcceptedRevision& way_back : job->ways_back) add(way_back, 0);
  }
  if (const KeptRevision* newest = newest_accepted(jobs, *evidence.trust)) known.returns = &newest->returns;
}

void gather_newest(const OrderEvidence& evidence, Knowledge& known) {
  if (!evidence.newest) return;
  const Manifest& newest = evidence.newest->manifest;
  const bool is_newer = std::ranges::all_of(
      known.revisions, [&](const KnownRevision& one) { return one.sequence <= newest.sequence; });
  if (is_newer) known.returns = &newest.permitted_returns;
  known.revisions.push_back(
      {evidence.newest->digest, newest.base_number, newest.revision, newest.sequence, kFromNewest});
}

Knowledge gather(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence) {
  Knowledge known;
  gather_state(manifest, digest, evidence, known);
  gather_newest(evidence, known);
  if (evidence.job_list) {
    for (const ListedRevision& listed : evidence.job_list->revisions) {
      known.revisions.push_back({listed.digest, listed.base, listed.revision, listed.sequence, kFromList});
    }
  }
  for (const KnownRevision& revision : known.revisions) {
    known.base = std::max(known.base, revision.base);
    if (known.newest == nullptr || revision.sequence > known.newest->sequence) known.newest = &revision;
  }
  return known;
}

// The newest revision 0 of the same base that replaced this one; nothing where none did.
const KnownRevision* replacement_of(const Manifest& manifest, const Knowledge& known) {
  const KnownRevision* newest = nullptr;
  for (const KnownRevision& one : known.revisions) {
    if (one.revision != 0 || one.base != manifest.base_number || one.sequence <= manifest.sequence) continue;
    if (newest == nullptr || one.sequence > newest->sequence) newest = &one;
  }
  return newest;
}

std::string sequence_text(const KnownRevision& revision) {
  return "sequence " + std::to_string(revision.sequence) + " from " + revision.source;
}

Status check_list(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence,
                  const std::string& name) {
  if (!evidence.job_list || manifest.sequence > evidence.job_list->newest().sequence ||
      evidence.job_list->find(digest) != nullptr)
    return {};
  return fail({Reason::kNotListed, name, "manifest " + digest_text(digest),
               "sequence " + std::to_string(manifest.sequence) + ", not in the list of " +
                   evidence.job_list->claimed_time,
               "one of the " + std::to_string(evidence.job_list->revisions.size()) + " revisions listed",
               "do not use this bundle; ask the shop which revision is meant"});
}

Status check_conflict(const Manifest& manifest, const Sha256& digest, const Knowledge& known,
                      const std::string& name) {
  for (const KnownRevision& revision : known.revisions) {
    if (revision.sequence != manifest.sequence || revision.digest == digest) continue;
    return fail({Reason::kSequenceConflict, name, "sequence " + std::to_string(manifest.sequence),
                 "manifest " + digest_text(digest),
                 "manifest " + digest_text(revision.digest) + ", known from " + revision.source,
                 "use neither; ask the shop, which may have sealed twice or lost a key"});
  }
  return {};
}

tl::unexpected<Error> old_base(const Manifest& manifest, const Knowledge& known, const std::string& name,
                               std::string next) {
  return fail({Reason::kBaseOld, name, "base", "base " + std::to_string(manifest.base_number),
               "base " + std::to_string(known.base) + ", the job's newest", std::move(next)});
}

// Nobody who signs a newer base or another revision 0 takes this one away: whether it fits, the read says.
Result<Passage> pass_way_back(const Manifest& manifest, const OrderEvidence& evidence, const Knowledge& known,
                              const std::string& name, std::vector<Caution>& cautions) {
  if (manifest.base_number < known.base) {
    if (!evidence.has_read && !evidence.declared_old_base) {
      return old_base(manifest, known, name,
                      "give the read, which says what the controller holds; or, where it cannot be read and "
                      "has this base, say so (--old-base)");
    }
    cautions.push_back({"base-other", "base " + std::to_string(known.base) +
                                          " of this job is known; this revision 0 is of base " +
                                          std::to_string(manifest.base_number) +
                                          ", and fits only a controller that has that base"});
  }
  if (const KnownRevision* newer = replacement_of(manifest, known)) {
    cautions.push_back(
        {"way-back-replaced", "the shop has sealed another revision 0 of this base, sequence " +
                                  std::to_string(newer->sequence) + ": ask it which is right"});
  }
  if (known.newest == nullptr) return Passage::kUnknown;
  if (manifest.sequence == known.newest->sequence) return Passage::kNewest;
  return manifest.sequence > known.newest->sequence ? Passage::kNewer : Passage::kWayBack;
}

// A revision that is older than the newest known of its base.
Result<Passage> judge_older(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence,
                            const Knowledge& known, const std::string& name) {
  const auto old = [&](const std::string& expected, const std::string& next) {
    return fail({Reason::kSequenceOld, name, "sequence", "sequence " + std::to_string(manifest.sequence),
                 expected, next});
  };
  if (manifest.base_number > known.base) {
    return old("more than " + sequence_text(*known.newest) + ", since sequences run on across bases",
               "do not use this bundle; ask the shop");
  }
  if (manifest.revision == 0) {
    const KnownRevision* newer = replacement_of(manifest, known);
    if (newer == nullptr) return Passage::kWayBack;
    return old("revision 0 with " + sequence_text(*newer) + ", which replaced this one",
               "use the newer revision 0");
  }
  if (evidence.declared_return) {
    if (known.returns != nullptr && std::ranges::binary_search(*known.returns, digest))
      return Passage::kReturn;
    return old(known.returns == nullptr
                   ? "a return that the newest accepted bundle permits; none is known here"
                   : "a return that the newest accepted bundle permits; it lists " +
                         std::to_string(known.returns->size()) + ", and not this one",
               known.returns == nullptr ? "give the newest accepted bundle too (--newest)"
                                        : "use the way back (revision 0), or ask the shop");
  }
  return old("at least " + sequence_text(*known.newest),
             "use the newest revision; to go back: revision 0, or an earlier revision that the newest one "
             "permits, with your word for it (--return)");
}

}  // namespace

Status judge_withdrawal(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence,
                        const std::string& name, std::vector<Caution>& cautions) {
  const WithdrawalNotice* notice = evidence.withdrawals ? evidence.withdrawals->find(digest) : nullptr;
  if (notice == nullptr && !std::ranges::binary_search(evidence.withdrawn, digest)) return {};
  if (manifest.revision == 0) {
    cautions.push_back({"withdrawal-without-effect",
                        "a notice names this revision 0; the way back is never withdrawn: ask the shop"});
    return {};
  }
  std::string found = "named in a list seen before";
  std::string next = "do not write it; use the newest revision, or the way back (revision 0)";
  if (notice != nullptr) {
    found = std::string(withdrawal_class_name(notice->kind)) + ": " + printable(notice->text);
    if (notice->go_back) {
      next = "do not write it; where it is in the vehicle, go back now to " +
             (notice->go_to ? "the revision with manifest " + digest_text(*notice->go_to)
                            : std::string("revision 0"));
    }
  }
  return fail({Reason::kWithdrawn, name, "manifest " + digest_text(digest), std::move(found),
               "a revision that the shop has not withdrawn", std::move(next)});
}

Result<Passage> judge_sequence(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence,
                               const std::string& name, std::vector<Caution>& cautions) {
  const Knowledge known = gather(manifest, digest, evidence);
  if (known.accepted_before) return pass_way_back(manifest, evidence, known, name, cautions);
  if (known.newest == nullptr) return Passage::kUnknown;
  if (manifest.base_number < known.base) {
    return old_base(manifest, known, name,
                    "use a bundle of the newest base; what was sealed for the software or controller before "
                    "it does not fit any more");
  }
  CALSEAL_CHECK(check_list(manifest, digest, evidence, name));
  CALSEAL_CHECK(check_conflict(manifest, digest, known, name));
  if (manifest.sequence > known.newest->sequence) return Passage::kNewer;
  if (manifest.sequence == known.newest->sequence) return Passage::kNewest;
  return judge_older(manifest, digest, evidence, known, name);
}

Status judge_clock(const Manifest& manifest, UtcTime now, const OrderEvidence& evidence,
                   const std::string& name, std::vector<Caution>& cautions) {
  const std::string seen = evidence.state && !evidence.declared_clock ? evidence.state->last_time : "";
  const std::string least = std::max(manifest.claimed_time, seen);
  if (const auto time = parse_time(least); time && now < *time) {
    const std::string why = least == manifest.claimed_time ? "the time of sealing" : "a time seen before";
    if (manifest.trial) {
      return fail({Reason::kClockImplausible, name, "claimed_time",
                   "this machine's clock says " + time_text(now), "not before " + least + ", " + why,
                   why == "the time of sealing"
                       ? "set the clock of this machine, then check again"
                       : "set the clock of this machine; or, where it is right and was wrong before, say so "
                         "(--clock-is-right)"});
    }
    cautions.push_back({"clock-implausible", "this machine's clock says " + time_text(now) + ", before " +
                                                 why + " (" + least + "): set it"});
  }
  if (!manifest.trial) return {};
  const auto expires = parse_time(manifest.expires);
  if (expires && now < *expires) return {};
  return fail({Reason::kExpired, name, "expires", "a trial that ended at " + manifest.expires,
               "a time before that; this machine's clock says " + time_text(now),
               "ask the shop for the final revision"});
}

}  // namespace calseal
