// In which order checksums and copies are corrected, and which of them reach into each other.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/map/plan.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// One checksum or copy as the plan sees it.
struct PlanEntry {
  std::size_t node = 0;   // into Plan::nodes
  std::size_t order = 1;  // from 1; entries of one joint group share it
  bool joint = false;     // solved together with the others of the same order, or with itself
  std::vector<std::string>
      reads_results_of;  // nested: those whose slots lie in its coverage, at most 16 names
};

// In order of correction. O(n log n) in places.
std::vector<PlanEntry> plan_entries(const Plan& plan);

// "order 3: header, after block[0], scalars-sum" one row each.
std::string plan_text(const Plan& plan, const Page& page);

// A list; docs/json-output.md, "plan entry".
JsonValue plan_json(const Plan& plan);

}  // namespace calseal
