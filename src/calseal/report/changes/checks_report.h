// What checksums and copies say about an image, for people and for programs.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/map/verify.h"
#include "calseal/report/layout/page.h"

namespace calseal {

struct CheckCounts {
  std::size_t holding = 0;
  std::size_t failing = 0;
  std::size_t not_provable = 0;
};
CheckCounts count_checks(const std::vector<CheckOutcome>& checks);

// "14 of 15 hold, 1 is not provable"
std::string checks_summary(const std::vector<CheckOutcome>& checks);

// One row each: state, name, algorithm, stored, computed, place; then, apart, what is not provable and why.
std::string checks_text(const Plan& plan, const std::vector<CheckOutcome>& checks, const Page& page);

// A list; docs/json-output.md, "check".
JsonValue checks_json(const RegionMap& map, const std::vector<CheckOutcome>& checks);

}  // namespace calseal
