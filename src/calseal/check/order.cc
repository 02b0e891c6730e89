#include "calseal/check/order.h"

#include <algorithm>

#include "calseal/base/text.h"

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
  const KnownRevision* way_back = nullptr;       // newest revision 0 of the highest base
  const std::vector<Sha256>* returns = nullptr;  // of the newest accepted bundle
};

constexpr const char* kFromState = "the checker's state";
constexpr const char* kFromList = "the shop's list of revisions";
constexpr const char* kFromNewest = "the newer bundle beside it";

void gather_state(const Manifest& manifest, const OrderEvidence& evidence, Knowledge& known) {
  const RootState* root = evidence.state ? evidence.state->find(evidence.root) : nullptr;
  const JobState* job = root == nullptr ? nullptr : root->find(manifest.job, manifest.controller().name);
  if (job == nullptr) return;
  // The state does not keep the revision's number; only whether it is the way back matters.
  const bool is_way_back = job->way_back == job->revision;
  known.revisions.push_back({job->revision, job->base, is_way_back ? 0U : 1U, job->sequence, kFromState});
  if (job->way_back && !is_way_back) {
    known.revisions.push_back({*job->way_back, job->base, 0, job->way_back_sequence, kFromState});
  }
  known.returns = &job->returns;
}

Knowledge gather(const Manifest& manifest, const OrderEvidence& evidence) {
  Knowledge known;
  gather_state(manifest, evidence, known);
  if (evidence.newest) {
    const Manifest& newest = evidence.newest->manifest;
    const bool is_newer = known.revisions.empty() || newest.sequence >= known.revisions.front().sequence;
    known.revisions.push_back(
        {evidence.newest->digest, newest.base_number, newest.revision, newest.sequence, kFromNewest});
    if (is_newer) known.returns = &newest.permitted_returns;
  }
  if (evidence.job_list) {
    for (const ListedRevision& listed : evidence.job_list->revisions) {
      known.revisions.push_back({listed.digest, listed.base, listed.revision, listed.sequence, kFromList});
    }
  }
  for (const KnownRevision& revision : known.revisions) {
    known.base = std::max(known.base, revision.base);
    if (known.newest == nullptr || revision.sequence > known.newest->sequence) known.newest = &revision;
  }
  for (const KnownRevision& revision : known.revisions) {
    if (revision.revision != 0 || revision.base != known.base) continue;
    if (known.way_back == nullptr || revision.sequence > known.way_back->sequence) known.way_back = &revision;
  }
  return known;
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

tl::unexpected<Error> old_base(const Manifest& manifest, const Knowledge& known, const std::string& name) {
  return fail(
      {Reason::kBaseOld, name, "base", "base " + std::to_string(manifest.base_number),
       "base " + std::to_string(known.base) + ", the job's newest",
       "use a bundle of the newest base; what was sealed for the software or controller before it, its "
       "revision 0 included, does not fit any more"});
}

}  // namespace

Status judge_withdrawal(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence,
                        const std::string& name, std::vector<Caution>& cautions) {
  const WithdrawalNotice* notice = evidence.withdrawals ? evidence.withdrawals->find(digest) : nullptr;
  const RootState* root = evidence.state ? evidence.state->find(evidence.root) : nullptr;
  // A list given is at least as new as the one remembered, and replaces it.
  const bool remembered =
      !evidence.withdrawals && root != nullptr && std::ranges::binary_search(root->withdrawn, digest);
  if (notice == nullptr && !remembered) return {};
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
                               const std::string& name) {
  const Knowledge known = gather(manifest, evidence);
  if (known.newest == nullptr) return Passage::kUnknown;
  if (manifest.base_number < known.base) return old_base(manifest, known, name);
  CALSEAL_CHECK(check_list(manifest, digest, evidence, name));
  CALSEAL_CHECK(check_conflict(manifest, digest, known, name));
  if (manifest.sequence > known.newest->sequence) return Passage::kNewer;
  if (manifest.sequence == known.newest->sequence) return Passage::kNewest;
  const auto old = [&](const std::string& expected, const std::string& next) {
    return fail({Reason::kSequenceOld, name, "sequence", "sequence " + std::to_string(manifest.sequence),
                 expected, next});
  };
  if (manifest.base_number > known.base) {
    return old("more than " + sequence_text(*known.newest) + ", since sequences run on across bases",
               "do not use this bundle; ask the shop");
  }
  if (manifest.revision == 0) {
    if (known.way_back == nullptr || known.way_back->sequence <= manifest.sequence) return Passage::kWayBack;
    return old("revision 0 with " + sequence_text(*known.way_back) + ", which replaced this one",
               "use the newer revision 0");
  }
  if (evidence.declared_return) {
    if (known.returns != nullptr && std::ranges::binary_search(*known.returns, digest))
      return Passage::kReturn;
    return old(known.returns == nullptr
                   ? "a return that the newest accepted bundle permits; none is known here"
                   : "a return that the newest accepted bundle permits; it lists " +
                         std::to_string(known.returns->size()) + ", and not this one",
               known.returns == nullptr ? "lay the newest accepted bundle beside it (--newest)"
                                        : "use the way back (revision 0), or ask the shop");
  }
  return old("at least " + sequence_text(*known.newest),
             "use the newest revision; to go back: revision 0, or an earlier revision that the newest one "
             "permits, with your word for it (--return)");
}

Status judge_clock(const Manifest& manifest, UtcTime now, const OrderEvidence& evidence,
                   const std::string& name, std::vector<Caution>& cautions) {
  const std::string seen = evidence.state ? evidence.state->last_time : "";
  const std::string least = std::max(manifest.claimed_time, seen);
  if (const auto time = parse_time(least); time && now < *time) {
    const std::string why = least == manifest.claimed_time ? "the time of sealing" : "a time seen before";
    if (manifest.trial) {
      return fail({Reason::kClockImplausible, name, "claimed_time",
                   "this machine's clock says " + time_text(now), "not before " + least + ", " + why,
                   "set the clock of this machine, then check again"});
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
