#include <memory>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/trust_change_command.h"
#include "calseal/sign/trust_change.h"

namespace calseal {
namespace {

struct PinHeadOptions {
  TrustChangeOptions change;
  std::uint64_t size = 0;
  std::string root_hash;
};

int run_pin_head(const PinHeadOptions& options, const Console& console) {
  return run_trust_change(
      options.change, {},
      [&](TrustFile& trust) -> Result<TrustChange> {
        CALSEAL_ASSIGN(const Sha256 hash, stated_digest(options.root_hash, "--root-hash"));
        CALSEAL_CHECK(pin_head(trust, {options.size, hash}));
        return TrustChange{
            "head-pinned", "",
            "A pinned head is believed for good: pin only what you had noted before the theft.\n"};
      },
      console);
}

}  // namespace

void add_shop_pin_head_command(CommandLine& shop, Console& console, int& status) {
  CommandLine* command = shop.add_subcommand(
      "pin-head", "Pin a head of the ledger: bundles in it stay good although their key was stolen later");
  auto o = std::make_shared<PinHeadOptions>();
  add_trust_change_options(*command, o->change);
  command->add_option("--size", o->size, "Entries under this head")
      ->required()
      ->in_range(1, 9007199254740991);
  command->add_option("--root-hash", o->root_hash, "The head's digest, 64 hexadecimal digits")
      ->takes("DIGEST")
      ->required();
  set_command(
      *command, console,
      {"calseal shop pin-head shop.trust --size 412 --root-hash "
       "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f"
       "4960cfe370eff4604328 --root-key root.key"},
      [o](Console& c) { return run_pin_head(*o, c); }, status);
}

}  // namespace calseal
