#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/parcel/parcel_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/job/layout.h"
#include "calseal/parcel/unpack.h"

namespace calseal {
namespace {

struct UnpackOptions : ParcelLookOptions {
  std::string folder;
};

Result<int> run_unpack(const UnpackOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const ParcelLook look, look_at_parcel(options));
  const Parcel& parcel = look.opened.parcel;
  const std::vector<std::string> names = unpacked_names(parcel);
  std::vector<NewFile> files;
  for (std::size_t i = 0; i < names.size(); ++i) {
    CALSEAL_ASSIGN(Bytes content, look.opened.content(i));
    files.push_back({names[i], std::move(content)});
  }
  CALSEAL_CHECK(make_folder(options.folder, {}, files));
  std::string text = "unpacked " + look.opened.name + " into " + printable(options.folder) + "\n";
  for (std::size_t i = 0; i < names.size(); ++i)
    text += "  " + names[i] + "  (" + bytes_text(files[i].bytes.size()) + ")\n";
  console.print(text);
  JsonValue unpacked = json_strings({});
  for (std::size_t i = 0; i < names.size(); ++i) {
    unpacked.items.push_back(json_object({{"entry", json(parcel.entries[i].name)},
                                          {"file", json(names[i])},
                                          {"size", json(files[i].bytes.size())},
                                          {"digest", json_digest(parcel.entries[i].digest)}}));
  }
  console.print_json(json_object({{"calseal", json("parcel-unpack/1")},
                                  {"folder", json(printable(options.folder, kShownPathLimit))},
                                  {"digest", json(digest_text(look.opened.digest))},
                                  {"files", unpacked}}));
  return 0;
}

}  // namespace

void add_parcel_unpack_command(CommandLine& parcel, Console& console, int& status) {
  CommandLine* command =
      parcel.add_subcommand("unpack", "Write reads and logs of a parcel into a new folder, all or none");
  auto o = std::make_shared<UnpackOptions>();
  add_parcel_look(*command, *o);
  command->add_option("-o,--output", o->folder, "The folder to make; it must not be there")
      ->takes("FOLDER")
      ->required();
  set_command(
      *command, console, {"calseal parcel unpack to-shop.parcel -o from-customer"},
      [o](Console& c) { return run_unpack(*o, c); }, status);
}

}  // namespace calseal
