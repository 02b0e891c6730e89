#include <algorithm>
#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/map_finding.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/image/regions_commands.h"
#include "calseal/cli/reads/read_arguments.h"

namespace calseal {
namespace {

struct LintOptions {
  std::vector<std::string> maps, images;
};

Result<int> lint(const LintOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const std::vector<ReadFile> files, load_read_files(options.images));
  const Page page = page_for(console);
  JsonValue maps = json_strings({});
  int status = 0;
  bool first = true;
  for (const std::string& path : options.maps) {
    MapFinding finding;
    finding.file = printable(path);
    if (Status judged = judge_map(finding, path, files, read_name(options.images)); !judged) {
      finding.fault = in_file(std::move(judged).error(), finding.file);
      status = std::max(status, exit_status(finding.fault->reason));
    }
    const std::string text = finding_text(finding, !files.empty(), page);
    if (!first && !text.empty()) console.print("\n");
    first = first && text.empty();
    console.print(text);
    if (finding.fault && !console.json) console.note(error_text(*finding.fault));
    if (console.json) maps.items.push_back(finding_json(finding, !files.empty()));
  }
  console.print_json(json_object({{"calseal", json("regions-lint/1")}, {"maps", std::move(maps)}}));
  return status;
}

}  // namespace

void add_regions_lint_command(CommandLine& regions, Console& console, int& status) {
  CommandLine* command =
      regions.add_subcommand("lint", "Check that region maps hold together, and hold on an image");
  auto options = std::make_shared<LintOptions>();
  command->add_option("MAP", options->maps, "Region maps")->takes("FILE")->required();
  command
      ->add_option("--image", options->images, "A first read that the maps must hold on; once for each file")
      ->takes("[MEMORY=]FILE")
      ->one_each();
  set_command(
      *command, console,
      {"calseal regions lint engine.json gearbox.json",
       "calseal regions lint engine.json --image flash=flash.bin --image eeprom=eeprom.bin"},
      [options](Console& c) { return lint(*options, c); }, status);
}

}  // namespace calseal
