// Calibration items that a revision changed, drawn.
#pragma once

#include "calseal/report/html/markup.h"
#include "calseal/report/revision/sides.h"
#include "calseal/report/revision/windows.h"

namespace calseal {

inline constexpr std::size_t kMostItemsDrawn = 60;  // of one report

// Every item that a change of the window touches, and those of which only an axis changed here, as long as
// there is `budget`: title, unit, kind, then its values before and after as far as `sides` knows them, each
// side over its own axes. Each takes one off the budget. `changes` are all of the revision. `claimed`: nobody
// vouches for the bundle.
Html item_pictures(const RegionMap& map, const std::vector<PlacedChange>& changes, const Window& window,
                   const Sides& sides, bool claimed, std::size_t& budget);

}  // namespace calseal
