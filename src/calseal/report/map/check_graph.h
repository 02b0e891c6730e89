// The checks and copies of a region map as a graph: what each reads, where its value lies, what it waits for.
#pragma once

#include <vector>

#include "calseal/map/verify.h"
#include "calseal/report/html/markup.h"

namespace calseal {

inline constexpr std::size_t kMostChecksDrawn = 80;

// In the order of correction. `checks` may be nothing.
Html check_graph(const Plan& plan, const std::vector<CheckOutcome>* checks);

// The regions of one memory's bytes by name, "fuel, code and 3 more".
std::string region_words(const RegionMap& map, const std::vector<RangeSet>& bytes);

}  // namespace calseal
