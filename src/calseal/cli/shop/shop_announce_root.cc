#include <memory>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/cli/shop/trust_change_command.h"
#include "calseal/sign/trust_change.h"

namespace calseal {
namespace {

struct AnnounceRootOptions {
  TrustChangeOptions change;
  std::string key;
};

int run_announce_root(const AnnounceRootOptions& options, const Console& console) {
  return run_trust_change(
      options.change, {options.key},
      [&](TrustFile& trust) -> Result<TrustChange> {
        CALSEAL_ASSIGN(const PublicKey key, load_public_key(options.key));
        const KeyId id = compute_key_id(key);
        CALSEAL_CHECK(announce_root(trust, id));
        return TrustChange{"root-announced", digest_text(id),
                           "Keep the next root's private key offline and apart from the root's own.\n"};
      },
      console);
}

}  // namespace

void add_shop_announce_root_command(CommandLine& shop, Console& console, int& status) {
  CommandLine* command =
      shop.add_subcommand("announce-root", "Name the root that may follow this one, long before it must");
  auto o = std::make_shared<AnnounceRootOptions>();
  add_trust_change_options(*command, o->change);
  command->add_option("KEY", o->key, "Public key file of the next root")->takes("FILE")->required();
  set_command(
      *command, console,
      {"calseal key new safe/root2.key",
       "calseal shop announce-root shop.trust safe/root2.key.pub --root-key root.key"},
      [o](Console& c) { return run_announce_root(*o, c); }, status);
}

}  // namespace calseal
