// What happened outside of calseal, noted in the job folder by the tuner's word.
#pragma once

#include <optional>
#include <string>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/job/job.h"

namespace calseal {

struct Note {
  EventKind kind = EventKind::kRemark;    // sent, acknowledged, written, confirmed, withdrawn, remark
  std::optional<std::uint64_t> base;      // nothing: the current one
  std::optional<std::uint64_t> revision;  // needed for all but a remark
  std::string detail;                     // channel, grade of proof, reason, words
};

// Notes one fact. kUsage for a kind that is not noted by hand, a revision that is not there, a missing or
// wrong detail (a remark and a withdrawal need words; `confirmed` needs a grade: bytes, verification-number
// or identity), a withdrawal of revision 0. kJobOrder when it comes before what must have gone before: sent
// before acknowledged, acknowledged way back before anything newer is sent, written before confirmed.
// kWithdrawn for handing out or writing what was withdrawn. The caller holds the lock.
Result<Event> note(const Job& job, const Note& fact, UtcTime now);

}  // namespace calseal
