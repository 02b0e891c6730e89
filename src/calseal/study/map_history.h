// How the region maps of a folder came after one another, and what each step allowed.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "calseal/map/map_diff.h"
#include "calseal/study/region_map_library.h"

namespace calseal {

// One text of a map.
struct MapVersion {
  std::size_t map = 0;                // into RegionMapLibrary::maps
  std::vector<std::string> also_as;   // further files with the very same text
  std::optional<std::size_t> before;  // into RegionMapLibrary::maps: the text that it replaces
  bool declared = false;              // "succeeds" says so; else the next lower version of the same name
  std::optional<MapDiff> diff;        // from that one; present exactly with `before`
};

struct MapHistory {
  std::string name;                    // of the map
  std::vector<MapVersion> versions;    // ascending by version, then digest
  std::vector<std::string> conflicts;  // sentences; empty when each version follows from one before it
};

// One history for each name in the folder, by name. Conflicts: two texts of one version, two that succeed the
// same text, a predecessor that is not in the folder, or one whose version is not lower.
std::vector<MapHistory> histories_of(const RegionMapLibrary& library);

}  // namespace calseal
