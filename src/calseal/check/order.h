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
  const TrustFile* trust = nullptr;           // in use
  std::optional<CheckerState> state;          // as the trust file's chain leaves it, see follow_chain()
  std::optional<WithdrawalList> withdrawals;  // the list that was given
  std::vector<Sha256> withdrawn;              // that the state keeps in force beside it, ascending
  std::optional<JobList> job_list;
  std::optional<NewestRevision> newest;
  bool has_read = false;           // else no byte says which base the controller has
  bool declared_return = false;    // the person's word: go back to this earlier revision
  bool declared_old_base = false;  // the person's word: the controller has the base of this revision 0
  bool declared_clock = false;     // the person's word: the clock is right
};

// kWithdrawn, when the list or the state names this revision; never for a revision 0, where the notice
// becomes a caution.
Status judge_withdrawal(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence,
                        const std::string& name, std::vector<Caution>& cautions);

// In this order: a revision 0 accepted before passes (kBaseOld where only a word could say that its base is
// there, and it was not given); the job's base (kBaseOld), the shop's list (kNotListed), one number twice
// (kSequenceConflict), the highest sequence known (kSequenceOld, unless the way back or a permitted and
// declared return).
Result<Passage> judge_sequence(const Manifest& manifest, const Sha256& digest, const OrderEvidence& evidence,
                               const std::string& name, std::vector<Caution>& cautions);

// A clock before the claimed time or, unless it was declared right, before the last one seen:
// kClockImplausible for a trial, else a caution. Then a trial's end (kExpired).
Status judge_clock(const Manifest& manifest, UtcTime now, const OrderEvidence& evidence,
                   const std::string& name, std::vector<Caution>& cautions);

}  // namespace calseal
