#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/parcel/parcel_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/parcel/judge.h"
#include "calseal/trust/succession.h"

namespace calseal {
namespace {

// The trust file's root and all that it succeeded, as far as these steps show.
Result<TrustChain> load_chain(const ParcelLookOptions& options) {
  CALSEAL_ASSIGN(Bytes trust, read_file(options.trust, kTrustFileSizeLimit));
  std::vector<NamedBytes> successions;
  for (const std::string& path : options.successions) {
    CALSEAL_ASSIGN(Bytes bytes, read_file(path, kSuccessionSizeLimit));
    successions.push_back({printable(path), std::move(bytes)});
  }
  return parse_trust_chain({printable(options.trust), std::move(trust)}, successions, "");
}

}  // namespace

void add_parcel_look(CommandLine& command, ParcelLookOptions& options) {
  command.add_option("PARCEL", options.parcel, "The parcel as it came")->takes("FILE")->required();
  command
      .add_option("--trust", options.trust,
                  "The shop's newest trust file: a parcel for another shop is refused then")
      ->takes("FILE");
  command
      .add_option("--succession", options.successions,
                  "How the shop's root was replaced, for a parcel that names an earlier one; oldest first "
                  "(repeatable)")
      ->takes("FILE")
      ->one_each();
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
  CALSEAL_ASSIGN(const TrustChain chain, load_chain(options));
  std::vector<KeyId> roots;
  for (const PublicKey& root : chain.roots()) roots.insert(roots.begin(), compute_key_id(root));
  CALSEAL_CHECK(check_parcel_root(look.opened.parcel, roots, look.opened.name));
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
