#include <memory>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"
#include "calseal/cli/shop/trust_change_command.h"
#include "calseal/sign/trust_change.h"

namespace calseal {
namespace {

struct ThresholdOptions {
  TrustChangeOptions change;
  std::uint64_t threshold = 1;
};

int run_threshold(const ThresholdOptions& options, const Console& console) {
  return run_trust_change(
      options.change, {},
      [&](TrustFile& trust) -> Result<TrustChange> {
        const bool grows = options.threshold > trust.threshold;
        CALSEAL_CHECK(set_threshold(trust, options.threshold));
        return TrustChange{"threshold", "",
                           grows ? "Bundles with fewer signatures are refused under this file: counter-sign "
                                   "those in use, and\n"
                                   "every revision 0, before anybody gets it.\n"
                                 : ""};
      },
      console);
}

}  // namespace

void add_shop_threshold_command(CommandLine& shop, Console& console, int& status) {
  CommandLine* command =
      shop.add_subcommand("threshold", "How many authors and reviewers must sign every bundle");
  auto o = std::make_shared<ThresholdOptions>();
  add_trust_change_options(*command, o->change);
  command->add_option("NUMBER", o->threshold, "1 to 8")->required()->in_range(1, 8);
  set_command(
      *command, console, {"calseal shop threshold shop.trust 2 --root-key root.key"},
      [o](Console& c) { return run_threshold(*o, c); }, status);
}

}  // namespace calseal
