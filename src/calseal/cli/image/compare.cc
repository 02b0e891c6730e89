#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/compare_bundles.h"
#include "calseal/cli/image/image_commands.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/report/changes/comparison_report.h"
#include "calseal/report/option/option_report.h"

namespace calseal {
namespace {

tl::unexpected<Error> compare_usage(std::string place, std::string found, std::string expected) {
  return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected),
               "calseal compare --help has examples"});
}

Result<int> compare_read_images(const CompareOptions& options, const Console& console) {
  if (options.regions.empty())
    return compare_usage("--regions", "nothing", "the region map, to compare images");
  if (options.before.empty() || options.after.empty())
    return compare_usage("images", "not both of them", "--before and --after, or two files");
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
  std::string text = comparison_items_text(comparison, page, options.all ? kAllItems : kFirstItems);
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
  value.members.emplace_back("items",
                             item_report_json({map, before.image, after.image, comparison.changes}, *plan));
  value.members.emplace_back("account", std::move(account_value));
  console.print_json(value);
  return comparison.is_confined() ? 0 : 1;
}

// Bundles and images are told apart by how the files begin.
Result<int> compare(CompareOptions options, const Console& console) {
  if (options.files.empty()) return compare_read_images(options, console);
  if (options.files.size() != 2 || !options.before.empty() || !options.after.empty())
    return compare_usage("FILE", "not two files alone", "two bundles or two images, the one before first");
  CALSEAL_ASSIGN(Bytes before, read_file(options.files[0], kBundleSizeLimit));
  CALSEAL_ASSIGN(Bytes after, read_file(options.files[1], kBundleSizeLimit));
  if (begins_as_bundle(before) != begins_as_bundle(after))
    return compare_usage("FILE", "a bundle and an image", "two bundles or two images");
  if (begins_as_bundle(before)) {
    if (!options.regions.empty() || !options.option_files.empty())
      return compare_usage("bundles", "--regions or --option",
                           "neither: a bundle has its region map and its options");
    return compare_bundles(options, std::move(before), std::move(after), console);
  }
  options.before = {options.files[0]};
  options.after = {options.files[1]};
  return compare_read_images(options, console);
}

}  // namespace

void add_compare_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand(
      "compare",
      "Show what differs between two images or two revisions, and where a revision may not change");
  auto options = std::make_shared<CompareOptions>();
  command->add_option("FILE", options->files, "Two bundles (*.calseal), or two images of one memory")
      ->takes("FILE");
  command->add_option("--regions", options->regions, "Of images: the region map")->takes("FILE");
  command->add_option("--before", options->before, "The first read; one file or one for each memory")
      ->takes("[MEMORY=]FILE");
  command->add_option("--after", options->after, "The edited image, likewise")->takes("[MEMORY=]FILE");
  command
      ->add_option("--option", options->option_files,
                   "Of images: an option file: shows which changed bytes it put there or took back "
                   "(repeatable)")
      ->takes("FILE")
      ->one_each();
  command->add_option("--trust", options->trust, "Of bundles: the shop's trust file, to verify both seals")
      ->takes("FILE");
  command->add_option("--root", options->root, "The root's fingerprint, as the shop read it out")
      ->needs(command->argument("--trust"));
  command->add_option("--base-bundle", options->base_bundle,
                      "Of bundles: revision 0 of their base, for values that they do not hold");
  command
      ->add_option("--read", options->reads,
                   "[MEMORY=]FILE: likewise a read of the controller; once for each file")
      ->one_each();
  command->add_flag("--all", options->all, "Show every changed cell");
  command->add_flag("--hex", options->hex, "Show the bytes of changed ranges, before and after");
  set_command(
      *command, console,
      {"calseal compare --regions engine.json --before read.bin --after edited.bin",
       "calseal compare --regions engine.json --before flash=f0.bin eeprom=e0.bin --after flash=f1.bin "
       "eeprom=e0.bin --hex",
       "calseal compare r3.calseal r4.calseal --trust shop.trust --base-bundle r0.calseal"},
      [options](Console& c) { return compare(*options, c); }, status);
}

}  // namespace calseal
