// What happened outside, noted by hand.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/job/vehicle_job.h"

namespace calseal {

// What a person notes.
struct Note {
  EventKind kind = EventKind::kRemark;  // sent, acknowledged, written, confirmed, withdrawn, ordered, remark,
                                        // closed, reopened
  std::string controller;               // name; empty: see note()
  std::optional<std::uint64_t> base;    // nothing: the current one
  std::optional<std::uint64_t> revision;  // nothing: see note()
  std::string detail;                     // channel, grade of proof, reason, words
  std::vector<std::string> options;       // ordered: names of options; none: he takes his order back
};

// One fact about one controller, as it was noted.
struct Noted {
  std::string controller;
  Event event;
};

// Notes one fact. With neither controller nor revision it is about every bundle of the newest hand-over, and
// a remark, closing and reopening about every controller. An order is always about every controller. `sent`,
// `acknowledged` and `withdrawn` of a member of a set are noted of the whole set, and `withdrawn` of every
// bundle of the revision.
//
// kUsage for a kind that is not noted by hand, a revision that is not there or must be named, a missing or
// wrong detail (a remark and a withdrawal need words; `confirmed` needs a grade: bytes, verification-number
// or identity), a withdrawal of revision 0. kJobOrder when it comes before what must have gone before: sent
// before acknowledged, acknowledged way back before anything newer is sent, written before confirmed; or is
// dated before that, or in the future. kWithdrawn for handing out or writing what was withdrawn. All is noted
// or nothing. The caller holds the lock.
Result<std::vector<Noted>> note(const VehicleJob& job, const Note& fact, UtcTime now);

}  // namespace calseal
