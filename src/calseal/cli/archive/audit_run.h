// One run of `calseal audit`, from its options to what it says.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/cli/archive/audit_output.h"

namespace calseal {

struct AuditOptions {
  std::vector<std::string> folders, successions;
  std::string trust, root, depth = "stored", part, mirror;
  bool resume = false, heal = false;
  std::uint64_t threads = 0;
  AuditOutput output;
};

// Exit status.
Result<int> audit_as_told(const AuditOptions& options, const Console& console);

}  // namespace calseal
