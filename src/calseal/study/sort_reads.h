// Loose files of one vehicle, sorted: which controller each belongs to, and which region map that one has.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/map/read.h"
#include "calseal/study/region_map_library.h"

namespace calseal {

// A file as a person gave it.
struct LooseFile {
  std::string controller;  // as named; empty: not named
  ReadFile file;
};

struct SortedRead {
  std::size_t map = 0;  // into RegionMapLibrary::maps
  std::vector<ReadFile> files;
};

// The read of each controller, ascending by its name. A map takes the files that fill its memories, one by
// one, and must recognise them together; choose_region_map() decides between maps of one controller. With one
// map in the library every file is its. kFamilyMismatch when no map takes a file; kUsage when several
// controllers could be meant by it, or a controller is named that no map has.
Result<std::vector<SortedRead>> sort_reads(const RegionMapLibrary& library,
                                           const std::vector<LooseFile>& files);

}  // namespace calseal
