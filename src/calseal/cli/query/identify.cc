#include <memory>

#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/query/query_commands.h"
#include "calseal/cli/query/reading_progress.h"
#include "calseal/cli/shop/shop_defaults.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/map/read.h"
#include "calseal/report/query/query_report.h"

namespace calseal {
namespace {

struct IdentifyOptions {
  std::string file, archive, at, trust;
};

Result<PlaceHint> parse_place(const std::string& text) {
  PlaceHint hint;
  if (text.empty()) return hint;
  CALSEAL_ASSIGN(const Criterion place, parse_criterion(CriterionKind::kTouches, text, "--at"));
  if (place.range.size() != 1) {
    return fail(usage_error("--at", "\"" + printable(text, 80) + "\"", "MEMORY:0xADDRESS",
                            "give the address of the file's first byte"));
  }
  hint.memory = place.text;
  hint.address = place.range.begin;
  return hint;
}

Result<int> run(const IdentifyOptions& options, const Console& console) {
  CALSEAL_ASSIGN(PlaceHint hint, parse_place(options.at));
  const ReadFile named = parse_read_argument(options.file);
  if (!hint.address) hint.memory = named.memory;
  LoadedTrust loaded;
  if (!options.trust.empty()) {
    CALSEAL_ASSIGN(loaded, load_trust(options.trust));
  }
  Progress progress(console, "reading the archive");
  CALSEAL_ASSIGN(const Index index,
                 open_index(options.archive, {false, reading_progress(progress), kLockWait}));
  CALSEAL_ASSIGN(const Identification result,
                 identify(index, named.name, hint, options.trust.empty() ? nullptr : &loaded.trust));
  const Page page = page_for(console);
  console.print(identification_text(result, page) + index_remarks(index, page));
  console.print_json(identification_json(result));
  return result.verdict == Likeness::kOurs ? 0 : 1;
}

}  // namespace

void add_identify_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.add_subcommand("identify", "Which job, base and revision a loose file is");
  auto o = std::make_shared<IdentifyOptions>();
  command->add_option("FILE", o->file, "An image in any form, or a part of one")
      ->takes("[MEMORY=]FILE")
      ->required();
  command->add_option("--in", o->archive, "The archive: a folder with bundles in it")
      ->takes("FOLDER")
      ->required();
  command->add_option("--at", o->at, "Address of its first byte, where the file is a part")
      ->takes("MEMORY:ADDRESS");
  command->add_option("--trust", o->trust, "The shop's trust file: judges the seal of every answer")
      ->takes("FILE");
  add_shop_option(*command, {kShopTrust});
  set_command(
      *command, console,
      {"calseal identify unknown.bin --in archive --trust shop.trust",
       "calseal identify calibration.bin --at flash:0x80040000 --in archive --json"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
