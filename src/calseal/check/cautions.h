// Cautions that every judgement of a bundle can give.
#pragma once

#include <string>

#include "calseal/check/verdict.h"
#include "calseal/map/region_map.h"

namespace calseal {

Caution root_not_confirmed(const std::string& fingerprint);
Caution map_is_draft(const RegionMap& map);

}  // namespace calseal
