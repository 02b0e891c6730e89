#include "calseal/cli/option/option_ground.h"

#include "calseal/change/confine.h"
#include "calseal/cli/reads/read_arguments.h"

namespace calseal {

Status Ground::load(const std::string& regions, const std::vector<std::string>& files) {
  CALSEAL_ASSIGN(map, load_region_map(regions));
  CALSEAL_ASSIGN(read, load_read_arguments(map, files));
  auto made = make_plan(map, read.image);
  if (!made) return fail(in_file(std::move(made).error(), read_name(files)));
  plan = *std::move(made);
  if (Status believed = believe_map(plan, read.image); !believed)
    return fail(in_file(believed.error(), read_name(files)));
  return {};
}

Result<OptionFile> load_option_file(const std::string& path) {
  CALSEAL_ASSIGN(std::vector<OptionFile> options, load_options({path}));
  return std::move(options.front());
}

std::vector<std::string> option_inputs(const OptionOptions& options) {
  std::vector<std::string> inputs = {options.regions};
  for (const std::string& path : {options.new_regions, options.option}) {
    if (!path.empty()) inputs.push_back(path);
  }
  for (const auto* list : {&options.base, &options.image, &options.new_base}) {
    for (std::string& path : paths_of(*list)) inputs.push_back(std::move(path));
  }
  return inputs;
}

void add_ground(CommandLine& command, OptionOptions& o) {
  command.add_option("--regions", o.regions, "The region map")->takes("FILE")->required();
  command.add_option("--base", o.base, "The first read; once for each file")
      ->takes("[MEMORY=]FILE")
      ->one_each()
      ->required();
}

}  // namespace calseal
