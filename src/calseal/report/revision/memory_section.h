// The controller's memory with what changed, from far and from near.
#pragma once

#include <vector>

#include "calseal/report/html/ground.h"
#include "calseal/report/revision/sides.h"
#include "calseal/report/revision/windows.h"

namespace calseal {

// `claimed`: nobody vouches for the bundle, and what differs is what it says.

// Every memory as one strip, with a letter where a window is.
Html memories_section(const PictureGround& ground, const std::vector<PlacedChange>& changes,
                      const Windows& windows, bool claimed);

// Every window: the strip from near, the items in it, the bytes.
Html places_section(const PictureGround& ground, const std::vector<PlacedChange>& changes,
                    const Windows& windows, const Sides& sides, bool claimed);

// Changes by region and option, derived ones among them.
Html changes_section(const PictureGround& ground, const std::vector<PlacedChange>& changes, bool claimed);

}  // namespace calseal
