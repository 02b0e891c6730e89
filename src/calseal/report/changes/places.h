// Places, region maps and errors as the reports on changes write them in JSON.
#pragma once

#include "calseal/base/json.h"
#include "calseal/base/result.h"
#include "calseal/map/region_map.h"

namespace calseal {

// {"memory","start","size"}
JsonValue place_json(const RegionMap& map, const Place& place);

// {"name","title","controller","version","grade","digest"}
JsonValue region_map_json(const RegionMap& map);

// "eg47-120345 version 3 (draft)"
std::string region_map_words(const RegionMap& map);

}  // namespace calseal
