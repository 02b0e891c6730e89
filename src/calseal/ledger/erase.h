// Taking out what the ledger knows about a customer's job; the entries stay, and say that it was on request.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"

namespace calseal {

struct Erased {
  std::vector<std::uint64_t> entries;  // whose details are gone now
  std::uint64_t said_by = 0;           // index of the `erased` entry
};

// Details of all entries of `job` (of `erased` ones nothing is left to take out): first the entry that says
// so, then the details go. Run again after a cut it finishes. kNotInLedger when there is nothing of that job.
Result<Erased> erase_job(const std::string& folder, const std::string& job, UtcTime now);

}  // namespace calseal
