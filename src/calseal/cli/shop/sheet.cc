#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/sheet_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/report/parcel/parcel_report.h"

namespace calseal {
namespace {

struct SheetShowOptions {
  std::string sheet, trust;
};

Result<int> run_show(const SheetShowOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const LoadedTrust loaded, load_trust(options.trust));
  CALSEAL_ASSIGN(const Bytes bytes, read_file(options.sheet, kSheetSizeLimit));
  CALSEAL_ASSIGN(const Sheet sheet, parse_sheet(bytes, loaded.trust, printable(options.sheet)));
  console.print_folded("SHEET of " + printable(loaded.trust.shop) + "\n" + sheet_text(sheet), kParcelColumn);
  JsonValue value = json_object({{"calseal", json("sheet-show/1")}});
  add_sheet(value, sheet);
  console.print_json(value);
  return 0;
}

void add_sheet_show_command(CommandLine& sheet, Console& console, int& status) {
  CommandLine* command =
      sheet.add_subcommand("show", "What a sheet offers and asks, once its signature holds");
  auto o = std::make_shared<SheetShowOptions>();
  command->add_option("SHEET", o->sheet, "The sheet")->takes("FILE")->required();
  command->add_option("--trust", o->trust, "The shop's trust file")->takes("FILE")->required();
  set_command(
      *command, console, {"calseal sheet show shop.sheet --trust shop.trust"},
      [o](Console& c) { return run_show(*o, c); }, status);
}

}  // namespace

void add_sheet_command(CommandLine& app, Console& console, int& status) {
  CommandLine* sheet =
      app.add_subcommand("sheet", "What the shop offers and asks: a signed list that customers order from");
  sheet->require_subcommand();
  add_sheet_make_command(*sheet, console, status);
  add_sheet_show_command(*sheet, console, status);
}

}  // namespace calseal
