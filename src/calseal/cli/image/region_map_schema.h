// docs/region-map.schema.json, embedded when calseal is built so that the two cannot differ.
#pragma once

#include <string_view>

namespace calseal {

std::string_view region_map_schema();

}  // namespace calseal
