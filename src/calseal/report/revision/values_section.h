// Every calibration item that a revision changed, as numbers.
#pragma once

#include <vector>

#include "calseal/report/html/markup.h"
#include "calseal/report/revision/sides.h"
#include "calseal/report/revision/windows.h"

namespace calseal {

inline constexpr std::size_t kMostValuesListed = 20000;  // of one report

// One table for each item that changed, drawn or not: element, its place on the axes after the change,
// before, after, difference. Nothing in it folds, so paper has it too. `claimed`: nobody vouches for the
// bundle.
Html values_section(const OpenedBundle& opened, const std::vector<PlacedChange>& changes, const Sides& sides,
                    bool claimed);

}  // namespace calseal
