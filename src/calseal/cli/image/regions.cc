
#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/image_commands.h"
#include "calseal/cli/image/region_map_schema.h"
#include "calseal/cli/image/regions_commands.h"

namespace calseal {

void add_regions_command(CommandLine& app, Console& console, int& status) {
  CommandLine* regions =
      app.add_subcommand("regions", "Region maps: check, show, draft, carry, compare and approve them");
  regions->require_subcommand();
  add_regions_lint_command(*regions, console, status);
  add_regions_show_command(*regions, console, status);
  CommandLine* schema = regions->add_subcommand("schema", "Print the JSON Schema of region maps");
  set_command(
      *schema, console, {"calseal regions schema > region-map.schema.json"},
      [](Console& c) {
        c.print(region_map_schema());
        c.print_json(
            json_object({{"calseal", json("regions-schema/1")}, {"schema", json(region_map_schema())}}));
        return 0;
      },
      status);
}

}  // namespace calseal
