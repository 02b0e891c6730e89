// Where a revision stands in time: against what was accepted before, what the shop has withdrawn, and the
// clock.
//
// None of this can make a bundle acceptable; it only refuses, or names the way by which an older revision is
// let through. docs/bundle-format.md, step 9; RFC 9124 section 4.3.1; The Update Framework specification
// section 1.5.2 (rollback, fast-forward, freeze).
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/bundle/manifest.h"
#include "calseal/check/state.h"
#include "calseal/check/verdict.h"
#include "calseal/trust/job_list.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {

// An accepted bundle that the person laid beside the one in question.
struct NewestRevision {
  Manifest manifest;
  Sha256 digest;
};

// What is known besides the bundle. Everything here was verified before, or is the checker's own.
struct OrderEvidence {
  KeyId root;  // of the trust file in use
  std::optional<CheckerState> state;
  std::optional<WithdrawalList> withdrawals;
  std::optional<JobList> job_list;
  std::optional<NewestRevision> newest;
  bool declared_return = false;
};

// kWithdrawn, when the list or the state names this revision; never for a revision 0, where the notice
// becomes a caution.
Status judge_withdrawal(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence,
                        const std::string& name, std::vector<Caution>& cautions);

// In this order: the job's base (kBaseOld), the shop's list (kNotListed), one number twice
// (kSequenceConflict), the highest sequence known (kSequenceOld, unless the way back or a permitted and
// declared return).
Result<Passage> judge_sequence(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence,
                               const std::string& name);

// A clock before the claimed time or before the last one seen: kClockImplausible for a trial, else a caution.
// Then a trial's end (kExpired).
Status judge_clock(const Manifest& manifest, UtcTime now, const OrderEvidence& evidence,
                   const std::string& name, std::vector<Caution>& cautions);

}  // namespace calseal
