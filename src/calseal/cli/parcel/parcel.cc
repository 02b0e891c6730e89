#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/parcel/parcel_commands.h"
#include "calseal/cli/shop/parcel_root.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/parcel/judge.h"

namespace calseal {
void add_parcel_look(CommandLine& command, ParcelLookOptions& options) {
  command.add_option("PARCEL", options.parcel, "The parcel as it came")->takes("FILE")->required();
  add_parcel_trust(command, options.trust);
  add_parcel_successions(command, options.successions);
  command
      .add_option("--sheet", options.sheet,
                  "The shop's sheet, for the names of what is ordered (with --trust)")
      ->takes("FILE");
  add_parcel_opening(command, options.opening);
  add_shop_option(command, {kShopParcelKey});
}

Result<ParcelLook> look_at_parcel(const ParcelLookOptions& options) {
  if (options.trust.empty() && !(options.sheet.empty() && options.successions.empty()))
    return fail(usage_error("--sheet", "no trust file", "--trust beside it", "give the shop's trust file"));
  ParcelLook look;
  CALSEAL_ASSIGN(look.opened, read_any_parcel(options.parcel, options.opening));
  if (options.trust.empty()) return look;
  CALSEAL_ASSIGN(const TrustChain chain, load_parcel_chain(options.trust, options.successions));
  CALSEAL_CHECK(judge_parcel_root(look.opened, chain));
  if (options.sheet.empty()) return look;
  CALSEAL_ASSIGN(const Bytes bytes, read_file(options.sheet, kSheetSizeLimit));
  CALSEAL_ASSIGN(look.sheet, parse_sheet(bytes, chain.trust, printable(options.sheet)));
  look.is_of_another_sheet = is_of_another_sheet(look.opened.parcel, look.sheet->digest);
  return look;
}

void add_parcel_commands(CommandLine& app, Console& console, int& status) {
  CommandLine* parcel = app.add_subcommand("parcel", "What a customer sent: look at it, open it, unpack it");
  parcel->require_subcommand();
  add_parcel_show_command(*parcel, console, status);
  add_parcel_unpack_command(*parcel, console, status);
  add_parcel_open_command(*parcel, console, status);
}

}  // namespace calseal
