#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/study/study_commands.h"
#include "calseal/map/map_diff.h"
#include "calseal/report/changes/map_diff_text.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/layout/page.h"

namespace calseal {
namespace {

struct DiffOptions {
  std::string before, after;
};

JsonValue diff_json(const RegionMap& before, const RegionMap& after, const MapDiff& diff) {
  return json_object({{"calseal", json("regions-diff/1")},
                      {"before", region_map_json(before)},
                      {"after", region_map_json(after)},
                      {"widens", json(diff.widens)},
                      {"policies", json_array(diff.policies,
                                              [](const PolicyChange& change) {
                                                return json_object(
                                                    {{"memory", json(change.memory)},
                                                     {"start", json(address_text(change.range.begin))},
                                                     {"size", json(change.range.size())},
                                                     {"before", json(policy_name(change.before))},
                                                     {"after", json(policy_name(change.after))},
                                                     {"widens", json(change.widens)}});
                                              })},
                      {"declarations", json_array(diff.declarations, [](const DeclarationChange& change) {
                         return json_object({{"kind", json(declaration_kind_name(change.kind))},
                                             {"name", json(change.name)},
                                             {"change", json(declaration_how_name(change.how))},
                                             {"widens", json(change.widens)}});
                       })}});
}

Result<int> diff_maps(const DiffOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const RegionMap before, load_region_map(options.before));
  CALSEAL_ASSIGN(const RegionMap after, load_region_map(options.after));
  const MapDiff diff = diff_region_maps(before, after);
  console.print(map_diff_text(before, after, diff, page_for(console)));
  console.print_json(diff_json(before, after, diff));
  return diff.widens ? 1 : 0;
}

}  // namespace

void add_regions_diff_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.subcommand("regions")->add_subcommand(
      "diff", "What a region map allows that another does not; exit status 1 when AFTER widens");
  auto options = std::make_shared<DiffOptions>();
  command->add_option("BEFORE", options->before, "Region map in use")->takes("FILE")->required();
  command->add_option("AFTER", options->after, "Region map that is to replace it")->takes("FILE")->required();
  set_command(
      *command, console, {"calseal regions diff engine-3.json engine-4.json"},
      [options](Console& c) { return diff_maps(*options, c); }, status);
}

}  // namespace calseal
