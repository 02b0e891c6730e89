// What a carried region map says about itself, for people and for programs.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/report/layout/page.h"
#include "calseal/study/map_carry.h"

namespace calseal {

// What moved, what holds, what is uncertain, and what to look at.
std::string carry_text(const RegionMap& old_map, const MapCarry& carried, const Page& page);
// docs/json-output.md, "regions-carry/1".
JsonValue carry_json(const RegionMap& old_map, const MapCarry& carried);

}  // namespace calseal
