#include <memory>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/trust_change_command.h"
#include "calseal/sign/trust_change.h"

namespace calseal {
namespace {

struct RetireKeyOptions {
  TrustChangeOptions change;
  std::string key, valid_until;
};

int run_retire_key(const RetireKeyOptions& options, const Console& console) {
  return run_trust_change(
      options.change, {},
      [&](TrustFile& trust) -> Result<TrustChange> {
        CALSEAL_ASSIGN(const KeyId id, stated_key(options.key, trust));
        std::string until = trust.claimed_time;
        if (!options.valid_until.empty()) {
          CALSEAL_ASSIGN(const UtcTime time, stated_time(options.valid_until, "--valid-until"));
          until = time_text(time);
        }
        CALSEAL_CHECK(retire_key(trust, id, until));
        return TrustChange{"key-retired", digest_text(id),
                           "What this key has signed stays good: it counts for claimed times before " +
                               until +
                               ".\nDestroy the private key; who still has it could claim an earlier time.\n"};
      },
      console);
}

}  // namespace

void add_shop_retire_key_command(CommandLine& shop, Console& console, int& status) {
  CommandLine* command = shop.add_subcommand("retire-key", "End a key's validity; what it signed stays good");
  auto o = std::make_shared<RetireKeyOptions>();
  add_trust_change_options(*command, o->change);
  command->add_option("KEY", o->key, "Its id, its fingerprint, or its public key file")
      ->takes("FILE|FINGERPRINT")
      ->required();
  command->add_option("--valid-until", o->valid_until, "The end, exclusive (default: now)")->takes("TIME");
  set_command(
      *command, console, {"calseal shop retire-key shop.trust second.key.pub --root-key root.key"},
      [o](Console& c) { return run_retire_key(*o, c); }, status);
}

}  // namespace calseal
