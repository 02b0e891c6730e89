// A folder of region maps, and which of them belongs to a read.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/map/read.h"
#include "calseal/map/region_map.h"

namespace calseal {

inline constexpr std::size_t kLibraryFileLimit = 4096;  // files looked at in one folder

struct LibraryMap {
  std::string file;  // path, printable
  RegionMap map;     // its digest tells one state of a map from another
};

struct RegionMapLibrary {
  std::vector<LibraryMap> maps;  // by file name
  std::vector<Error> faulty;     // files that are no sound region map, in the same order
};

// Every "*.json" of the folder itself, not of folders inside. A faulty map does not hide the sound ones.
// kFileMissing, kFileUnreadable, kFileTooLarge (more than kLibraryFileLimit files).
Result<RegionMapLibrary> load_region_map_library(const std::string& folder);
// Several such folders and single region maps together; none: the working folder. A faulty map that was named
// itself is the error.
Result<RegionMapLibrary> load_region_maps(const std::vector<std::string>& paths);

// What one map says about a read.
struct MapFit {
  std::size_t map = 0;  // into RegionMapLibrary::maps
  bool laid = false;    // the files fill its memories
  bool recognised = false;
  Error why_not;              // when either is false
  std::string superseded_by;  // file of the map of the same name with a higher version that fits as well
};

struct MapChoice {
  std::vector<MapFit> fits;           // one for each map
  std::optional<std::size_t> chosen;  // into RegionMapLibrary::maps
  // Why nothing was chosen: no map fits, or several do and no version decides; empty when chosen.
  std::string conflict;
};

// Lays the files into every map and asks its recognition rule, software numbers included. Of maps that fit,
// one of the same name and a higher version wins; the same text under two file names counts once; maps
// without a recognition rule are chosen only when nothing else fits. Two names, or two texts of one version,
// are a conflict that names both.
MapChoice choose_region_map(const RegionMapLibrary& library, const std::vector<ReadFile>& files);
// The map that recognises the read; else, for a read that is damaged, the only one there is. kFamilyMismatch.
Result<std::size_t> map_to_judge_by(const RegionMapLibrary& library, const MapChoice& choice);

}  // namespace calseal
