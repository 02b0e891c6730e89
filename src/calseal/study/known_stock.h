// Stocks that a read can be compared with.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

// A stock image that somebody vouches for.
struct KnownStock {
  std::string name;
  Image image;
};

// Stocks of a folder: each file of its own, or each folder inside with one file per memory (named MEMORY.ext
// or told by its size). What does not fit the map, or fails its checks, is no stock of it and is left out.
// kFileMissing, kFileUnreadable, kFileTooLarge.
Result<std::vector<KnownStock>> load_known_stocks(const RegionMap& map, const std::string& folder);

}  // namespace calseal
