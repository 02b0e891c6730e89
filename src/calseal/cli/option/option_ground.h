// What the commands about options have in common.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/map/plan.h"
#include "calseal/map/read.h"
#include "calseal/option/option_file.h"

namespace calseal {

struct OptionOptions {
  std::string regions, new_regions, option, name, title, purpose, output;
  std::vector<std::string> base, image, new_base;
  bool all = false;
};

// A region map with a read that it holds on. Built in place: plan and read point into the map.
struct Ground {
  RegionMap map;
  Read read;
  Plan plan;

  Status load(const std::string& regions, const std::vector<std::string>& files);
};

Result<OptionFile> load_option_file(const std::string& path);
std::vector<std::string> option_inputs(const OptionOptions& options);

// --regions and --base.
void add_ground(CommandLine& command, OptionOptions& options);

}  // namespace calseal
