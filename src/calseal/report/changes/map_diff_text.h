// What lies between two region maps, for people: regions diff and regions approve.
#pragma once

#include <string>

#include "calseal/map/map_diff.h"
#include "calseal/report/layout/page.h"

namespace calseal {

std::string map_diff_text(const RegionMap& before, const RegionMap& after, const MapDiff& diff,
                          const Page& page);

}  // namespace calseal
