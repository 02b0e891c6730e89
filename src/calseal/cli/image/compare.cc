#include <CLI/CLI.hpp>
#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/cli/image/image_commands.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/changes/comparison_report.h"

namespace calseal {
namespace {

struct CompareOptions {
  std::string regions;
  std::vector<std::string> before, after;
  bool hex = false;
};

Result<int> compare(const CompareOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const RegionMap map, load_region_map(options.regions));
  CALSEAL_ASSIGN(const Read before, load_read_arguments(map, options.before));
  CALSEAL_ASSIGN(const Read after, load_read_arguments(map, options.after));
  auto plan = make_plan(map, before.image);
  if (!plan) return fail(in_file(plan.error(), read_name(options.before)));
  const Comparison comparison = compare_and_prove(*plan, before.image, after.image);
  const Excerpt excerpt = options.hex ? Excerpt::kHex : Excerpt::kNone;
  console.print(comparison_text(comparison, page_for(console), excerpt));
  JsonValue value = json_object({{"calseal", json("compare/1")}});
  for (auto& member : comparison_json(comparison, excerpt).members)
    value.members.push_back(std::move(member));
  console.print_json(value);
  return comparison.is_confined() ? 0 : 1;
}

}  // namespace

void add_compare_command(CLI::App& app, Console& console, int& status) {
  CLI::App* command =
      app.add_subcommand("compare", "Show where two images differ, and prove that only declared areas do");
  auto options = std::make_shared<CompareOptions>();
  command->add_option("--regions", options->regions, "The region map")->required();
  command
      ->add_option("--before", options->before,
                   "[MEMORY=]FILE: the first read; one file or one for each memory")
      ->required();
  command->add_option("--after", options->after, "[MEMORY=]FILE: the edited image, likewise")->required();
  command->add_flag("--hex", options->hex, "Show the bytes of changed ranges, before and after");
  set_command(
      *command, console,
      {"calseal compare --regions engine.json --before read.bin --after edited.bin",
       "calseal compare --regions engine.json --before flash=f0.bin eeprom=e0.bin --after flash=f1.bin "
       "eeprom=e0.bin --hex"},
      [options](Console& c) {
        const Result<int> result = compare(*options, c);
        return result ? *result : c.fail(result.error());
      },
      status);
}

}  // namespace calseal
