// All jobs below a folder, and who must act next in each.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "calseal/job/next_step.h"

namespace calseal {

inline constexpr std::size_t kWorklistDepth = 6;  // folders below the one that is named

struct ListedJob {
  std::string folder;  // below the one that was named
  VehicleFacts facts;
  std::vector<NextStep> steps;
  WaitsFor waits = WaitsFor::kShop;  // the shop, where it must act for any controller
  std::string since;                 // time of the last note
  std::size_t findings = 0;
  std::optional<Error> fault;  // it could not be read; then the rest is empty
};

struct Worklist {
  std::vector<ListedJob> jobs;      // the shop's turn first, then the customer's; who waits longest first
  std::vector<std::string> unread;  // folders whose names could not be read
};

// No link is followed, and nothing inside a job is taken for another one. kFileMissing when there is no such
// folder.
Result<Worklist> read_worklist(const std::string& folder, const JobContext& context);

}  // namespace calseal
