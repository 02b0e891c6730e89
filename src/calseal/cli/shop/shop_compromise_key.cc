#include <memory>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/trust_change_command.h"
#include "calseal/sign/trust_change.h"

namespace calseal {
namespace {

constexpr const char* kProcedure =
    "Before anybody gets this trust file (docs/keys.md, \"A stolen key\"):\n"
    "  1. counter-sign every revision 0 that this key alone has signed, out of your own archive, so that\n"
    "     nobody loses the way back: calseal countersign r0.calseal --key ... --trust (this file) -o ...\n"
    "  2. counter-sign the newest revision of every job in use, and its permitted returns\n"
    "  3. or, for bundles that were in the ledger before the theft: pin the head from before\n"
    "     (calseal shop pin-head) and hand out their proofs of inclusion\n"
    "  4. withdraw what the thief is known to have sealed (calseal withdraw)\n"
    "  5. then give this trust file and the counter-signed bundles to all customers together\n";

struct CompromiseKeyOptions {
  TrustChangeOptions change;
  std::string key;
};

int run_compromise_key(const CompromiseKeyOptions& options, const Console& console) {
  return run_trust_change(
      options.change, {},
      [&](TrustFile& trust) -> Result<TrustChange> {
        CALSEAL_ASSIGN(const KeyId id, stated_key(options.key, trust));
        CALSEAL_CHECK(compromise_key(trust, id));
        return TrustChange{"key-compromised", digest_text(id), kProcedure};
      },
      console);
}

}  // namespace

void add_shop_compromise_key_command(CommandLine& shop, Console& console, int& status) {
  CommandLine* command = shop.add_subcommand(
      "compromise-key", "Say that a key was stolen: what it alone signed is refused from then on");
  auto o = std::make_shared<CompromiseKeyOptions>();
  add_trust_change_options(*command, o->change);
  command->add_option("KEY", o->key, "Its id, its fingerprint, or its public key file")
      ->takes("FILE|FINGERPRINT")
      ->required();
  set_command(
      *command, console, {"calseal shop compromise-key shop.trust second.key.pub --root-key root.key"},
      [o](Console& c) { return run_compromise_key(*o, c); }, status);
}

}  // namespace calseal
