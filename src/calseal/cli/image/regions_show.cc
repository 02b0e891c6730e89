#include <memory>
#include <optional>

#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/image/regions_commands.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/changes/region_map_report.h"

namespace calseal {
namespace {

struct RegionsShowOptions {
  std::string regions;
  std::vector<std::string> images;
};

// The plan, or nothing where tables in the image say what is covered and there is none.
Result<std::optional<Plan>> plan_for(const RegionMap& map, const std::optional<Read>& read,
                                     const RegionsShowOptions& options) {
  auto plan = make_plan(map, read ? read->image : blank_image(map));
  if (plan) return std::optional<Plan>(*std::move(plan));
  if (!read && plan.error().reason == Reason::kReadIncomplete) return std::optional<Plan>();
  return fail(in_file(std::move(plan).error(),
                      read_name(read ? options.images : std::vector<std::string>{options.regions})));
}

Result<int> show(const RegionsShowOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const RegionMap map, load_region_map(options.regions));
  std::optional<Read> read;
  if (!options.images.empty()) {
    CALSEAL_ASSIGN(read, load_read_arguments(map, options.images));
  }
  CALSEAL_ASSIGN(const std::optional<Plan> plan, plan_for(map, read, options));
  const RegionMapView view{&map, plan ? &*plan : nullptr, read ? &read->image : nullptr};
  console.print(region_map_text(view, page_for(console)));
  JsonValue value = json_object({{"calseal", json("regions-show/1")}});
  for (auto& member : region_map_view_json(view).members) value.members.push_back(std::move(member));
  console.print_json(value);
  return 0;
}

}  // namespace

void add_regions_show_command(CommandLine& regions, Console& console, int& status) {
  CommandLine* command =
      regions.add_subcommand("show", "Lay a region map open: memories, regions, checksums, identity");
  auto options = std::make_shared<RegionsShowOptions>();
  command->add_option("MAP", options->regions, "The region map")->takes("FILE")->required();
  command->add_option("--image", options->images, "An image, for its identity and tables; once for each file")
      ->takes("[MEMORY=]FILE")
      ->one_each();
  set_command(
      *command, console,
      {"calseal regions show engine.json",
       "calseal regions show engine.json --image flash=flash.bin --image eeprom=eeprom.bin"},
      [options](Console& c) { return show(*options, c); }, status);
}

}  // namespace calseal
