#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/trust_report.h"

namespace calseal {
namespace {

struct ShopShowOptions {
  std::string trust, root;
};

int run_show(const ShopShowOptions& options, const Console& console) {
  const auto bytes = read_file(options.trust, kTrustFileSizeLimit);
  if (!bytes) return console.fail(bytes.error());
  const auto trust = parse_trust_file(*bytes, options.root, printable(options.trust));
  if (!trust) return console.fail(trust.error());
  const bool stated = !options.root.empty();
  console.print(trust_text(*trust) +
                (stated
                     ? "The root is the one that was stated.\n"
                     : "A trust file names its own root: compare the root's code with what the shop reads to "
                       "you, or give that as --root.\n"));
  console.print_json(json_object(
      {{"calseal", json("shop-show/1")}, {"root_stated", json(stated)}, {"trust", trust_json(*trust)}}));
  return 0;
}

}  // namespace

void add_shop_show_command(CommandLine& shop, Console& console, int& status) {
  CommandLine* command =
      shop.add_subcommand("show", "What a trust file says, and the fingerprint to read aloud");
  auto options = std::make_shared<ShopShowOptions>();
  command->add_option("TRUST", options->trust, "Trust file")->takes("FILE")->required();
  command
      ->add_option("--root", options->root, "Fingerprint or key id of the root, as the shop read it to you")
      ->takes("FINGERPRINT");
  set_command(
      *command, console,
      {"calseal shop show shop.trust",
       "calseal shop show shop.trust --root \"01234 56789 01234 56789 01234 56789 01234 56789 01234 56789\""},
      [options](Console& c) { return run_show(*options, c); }, status);
}

}  // namespace calseal
