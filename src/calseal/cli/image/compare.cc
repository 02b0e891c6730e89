#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/image_commands.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/changes/comparison_report.h"
#include "calseal/report/option/option_report.h"

namespace calseal {
namespace {

struct CompareOptions {
  std::string regions;
  std::vector<std::string> before, after, option_files;
  bool hex = false;
};

Result<int> compare(const CompareOptions& options, const Console& console) {
  const Progress progress(console, "comparing byte by byte");
  CALSEAL_ASSIGN(const RegionMap map, load_region_map(options.regions));
  CALSEAL_ASSIGN(const Read before, load_read_arguments(map, options.before));
  CALSEAL_ASSIGN(const Read after, load_read_arguments(map, options.after));
  auto plan = make_plan(map, before.image);
  if (!plan) return fail(in_file(plan.error(), read_name(options.before)));
  CALSEAL_ASSIGN(const std::vector<OptionFile> declared, load_options(options.option_files));
  const Comparison comparison = compare_and_prove(*plan, before.image, after.image);
  const Excerpt excerpt = options.hex ? Excerpt::kHex : Excerpt::kNone;
  const Page page = page_for(console);
  std::string text = item_changes_text(map, before.image, after.image, page);
  JsonValue account_value = JsonValue{};
  if (!declared.empty()) {
    CALSEAL_ASSIGN(const Account account, make_account(*plan, before.image, after.image, declared));
    text += (text.empty() ? "" : "\n") + account_text(map, account, before.image, after.image, page);
    account_value = account_json(map, account, before.image, after.image);
  }
  if (!text.empty()) text += "\n";
  console.print(text + comparison_text(comparison, page, excerpt));
  JsonValue value = json_object({{"calseal", json("compare/1")}});
  for (auto& member : comparison_json(comparison, excerpt).members)
    value.members.push_back(std::move(member));
  value.members.emplace_back("items", item_changes_json(map, before.image, after.image));
  value.members.emplace_back("account", std::move(account_value));
  console.print_json(value);
  return comparison.is_confined() ? 0 : 1;
}

}  // namespace

void add_compare_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command =
      app.add_subcommand("compare", "Show where two images differ, and prove that only declared areas do");
  auto options = std::make_shared<CompareOptions>();
  command->add_option("--regions", options->regions, "The region map")->required();
  command
      ->add_option("--before", options->before,
                   "[MEMORY=]FILE: the first read; one file or one for each memory")
      ->required();
  command->add_option("--after", options->after, "[MEMORY=]FILE: the edited image, likewise")->required();
  command
      ->add_option("--option", options->option_files,
                   "An option file: shows which changed bytes it put there or took back (repeatable)")
      ->one_each();
  command->add_flag("--hex", options->hex, "Show the bytes of changed ranges, before and after");
  set_command(
      *command, console,
      {"calseal compare --regions engine.json --before read.bin --after edited.bin",
       "calseal compare --regions engine.json --before flash=f0.bin eeprom=e0.bin --after flash=f1.bin "
       "eeprom=e0.bin --hex"},
      [options](Console& c) { return compare(*options, c); }, status);
}

}  // namespace calseal
