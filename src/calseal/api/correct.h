// An edited image with its checksums and copies made right.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/api/region_map.h"

namespace calseal::api {

struct Correction {
  std::string name;  // of the checksum or copy
  std::string memory;
  std::uint64_t address = 0;
  Bytes before, after;
};

struct Corrected {
  std::vector<File> files;                // those given, in their own form
  std::vector<Correction> corrections;    // places that changed, in the order corrected
  std::vector<std::string> not_provable;  // checks whose bytes the files do not give; left alone
};

// With `base`, the first read, the map must hold on it, and the result is proved to change only what the map
// allows; the first violation is the error. Without it nothing proves what else was edited.
Result<Corrected> correct(const Map& map, const std::vector<File>& edited,
                          const std::vector<File>& base = {});

}  // namespace calseal::api
