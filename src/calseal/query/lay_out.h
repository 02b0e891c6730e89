// The ways in which a loose file can be laid into the memories of a region map.
#pragma once

#include <string>
#include <vector>

#include "calseal/image/image.h"
#include "calseal/map/region_map.h"
#include "calseal/query/identify.h"

namespace calseal {

inline constexpr std::size_t kPartPlaces = 256;  // places at which a part is tried

struct LaidOut {
  Image image;
  std::string form;
  std::string part_of;   // memory, when the file is laid as a part of it
  std::uint64_t at = 0;  // address of its first byte then
};

// Where a file can go; a whole read comes alone, and a part with every place that it fits.
std::vector<LaidOut> ways_to_lay(const RegionMap& map, const Bytes& file, const PlaceHint& hint);

}  // namespace calseal
