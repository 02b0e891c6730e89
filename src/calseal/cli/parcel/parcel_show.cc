#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/check/evidence_files.h"
#include "calseal/cli/parcel/parcel_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/report/parcel/parcel_report.h"

namespace calseal {
namespace {

Result<int> run_show(const ParcelLookOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const ParcelLook look, look_at_parcel(options));
  const OpenedParcel& opened = look.opened;
  std::string text = "PARCEL " + opened.name + ", " + bytes_text(opened.file.size()) +
                     ", whole and signed\n" +
                     parcel_text(opened.parcel, look.sheet ? &*look.sheet : nullptr, emphasis_on(console));
  if (look.is_of_another_sheet)
    text += "caution: it was made with another sheet than this one. [sheet-other]\n";
  text +=
      "Nobody vouches for this key but the customer: compare its fingerprint with what he reads aloud. The "
      "parcel says nothing about a vehicle; calseal receive judges its reads.\n";
  console.print_folded(text, kParcelColumn);
  std::vector<std::string> cautions;
  if (look.is_of_another_sheet) cautions.emplace_back("sheet-other");
  JsonValue value = json_object({{"calseal", json("parcel-show/1")},
                                 {"file", json(printable(options.parcel, kShownPathLimit))},
                                 {"size", json(opened.file.size())},
                                 {"digest", json(digest_text(opened.digest))},
                                 {"cautions", json_strings(cautions)}});
  add_parcel(value, opened.parcel);
  console.print_json(value);
  return 0;
}

}  // namespace

void add_parcel_show_command(CommandLine& parcel, Console& console, int& status) {
  CommandLine* command =
      parcel.add_subcommand("show", "Who sent a parcel, what is in it, and what is ordered");
  auto o = std::make_shared<ParcelLookOptions>();
  add_parcel_look(*command, *o);
  set_command(
      *command, console,
      {"calseal parcel show to-shop.parcel",
       "calseal parcel show to-shop.parcel --trust shop.trust --sheet shop.sheet"},
      [o](Console& c) { return run_show(*o, c); }, status);
}

}  // namespace calseal
