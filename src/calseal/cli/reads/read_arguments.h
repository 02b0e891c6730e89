// Region map and reads as named on the command line, loaded once.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/map/plan.h"
#include "calseal/map/read.h"
#include "calseal/map/region_map.h"

namespace calseal {

Result<RegionMap> load_region_map(const std::string& path);

// A file with the controller that a person said it is of.
struct NamedRead {
  std::string controller;  // empty: not named
  ReadFile file;           // without its bytes; its name is the path
};
// Splits "[[CONTROLLER.]MEMORY=]FILE".
NamedRead parse_named_read(const std::string& argument);

// The bytes of "[MEMORY=]FILE" arguments; names are already printable.
Result<std::vector<ReadFile>> load_read_files(const std::vector<std::string>& arguments);

// The same, laid into the memories of the map.
Result<Read> load_read_arguments(const RegionMap& map, const std::vector<std::string>& arguments);

// The files behind the arguments.
std::vector<std::string> paths_of(const std::vector<std::string>& arguments);

// For errors that concern a read as a whole: the printable name of its only file, or of the first and how
// many more.
std::string read_name(const std::vector<std::string>& arguments);

}  // namespace calseal
