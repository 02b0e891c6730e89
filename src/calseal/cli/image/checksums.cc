#include <memory>
#include <optional>

#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/image_commands.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/map/identity.h"
#include "calseal/map/verify.h"
#include "calseal/report/changes/checks_report.h"
#include "calseal/report/changes/places.h"

namespace calseal {
namespace {

struct ChecksumsOptions {
  std::string regions;
  std::vector<std::string> reads;
};

std::string recognition_text(const Status& recognised, const Page& page) {
  if (recognised) return labelled(page, "recognised", "yes", Mark::kGood);
  const Error& why = recognised.error();
  return labelled(page, "recognised",
                  "NO [" + std::string(code(why.reason)) + "] " + why.place + ": found " + why.found +
                      "; expected " + why.expected,
                  Mark::kBad);
}

Result<int> verify(const ChecksumsOptions& options, const Console& console) {
  const Progress progress(console, "computing checksums");
  CALSEAL_ASSIGN(const RegionMap map, load_region_map(options.regions));
  CALSEAL_ASSIGN(const Read read, load_read_arguments(map, options.reads));
  auto plan = make_plan(map, read.image);
  if (!plan) return fail(in_file(plan.error(), read_name(options.reads)));
  const Status recognised = recognise_family(map, read.image);
  const std::vector<CheckOutcome> checks = verify_checks(*plan, read.image);
  const Page page = page_for(console);
  std::string text = labelled(page, "region map", region_map_words(map)) +
                     recognition_text(recognised, page) + labelled(page, "checks", checks_summary(checks));
  if (!checks.empty()) text += "\n" + checks_text(*plan, checks, page);
  console.print(text);
  console.print_json(
      json_object({{"calseal", json("checksums/1")},
                   {"region_map", region_map_json(map)},
                   {"recognised", json(recognised.has_value())},
                   {"recognition_error", recognised ? JsonValue{} : json_error(recognised.error())},
                   {"checks", checks_json(map, checks)}}));
  return recognised && count_checks(checks).failing == 0 ? 0 : 1;
}

}  // namespace

void add_checksums_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand("checksums", "Verify the checksums and copies inside an image");
  auto options = std::make_shared<ChecksumsOptions>();
  command->add_option("--regions", options->regions, "The region map")->takes("FILE")->required();
  command->add_option("FILES", options->reads, "The image, one file or one for each memory")
      ->takes("[MEMORY=]FILE")
      ->required();
  set_command(
      *command, console,
      {"calseal checksums --regions engine.json read.bin",
       "calseal checksums --regions engine.json flash=flash.bin eeprom=eeprom.bin --json"},
      [options](Console& c) { return verify(*options, c); }, status);
}

}  // namespace calseal
