#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/parcel/parcel_commands.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

struct OpenOptions {
  std::string closed, output;
  ParcelOpening opening;
};

Result<int> run_open(const OpenOptions& options, const Console& console) {
  CALSEAL_CHECK(refuse_clashes({options.output}, {options.closed, options.opening.key}));
  if (!is_closed_parcel_file(options.closed)) {
    return fail({Reason::kParcelClosed, printable(options.closed), "byte 0", "no closed parcel",
                 "calseal-parcel/1 and a line end", "a parcel that is not closed needs no opening"});
  }
  CALSEAL_ASSIGN(Bytes bytes, open_closed_file(options.closed, options.opening));
  CALSEAL_ASSIGN(const OpenedParcel opened, open_parcel(std::move(bytes), printable(options.closed)));
  CALSEAL_CHECK(write_file(options.output, opened.file, FileMode::kPublic, Existing::kRefuse));
  console.print("opened " + printable(options.closed) + ": " + printable(options.output) + ", " +
                bytes_text(opened.file.size()) + "\n");
  console.print_json(json_object({{"calseal", json("parcel-open/1")},
                                  {"output", json(printable(options.output, kShownPathLimit))},
                                  {"size", json(opened.file.size())},
                                  {"digest", json(digest_text(opened.digest))}}));
  return 0;
}

}  // namespace

void add_parcel_open_command(CommandLine& parcel, Console& console, int& status) {
  CommandLine* command = parcel.add_subcommand("open", "Open a closed parcel with the shop's parcel key");
  auto o = std::make_shared<OpenOptions>();
  command->add_option("CLOSED", o->closed, "The closed parcel as it came")->takes("FILE")->required();
  add_parcel_opening(*command, o->opening);
  command->add_option("-o,--output", o->output, "The parcel to write; nothing is replaced")
      ->takes("FILE")
      ->required();
  add_shop_option(*command, {kShopParcelKey});
  set_command(
      *command, console, {"calseal parcel open to-shop.parcel --parcel-key parcel.key -o opened.parcel"},
      [o](Console& c) { return run_open(*o, c); }, status);
}

}  // namespace calseal
