#include "calseal/cli/console/command_line.h"
#include "calseal/cli/shop/shop_commands.h"

namespace calseal {

void add_shop_command(CommandLine& app, Console& console, int& status) {
  CommandLine* shop = app.add_subcommand("shop", "The shop's root and trust file");
  shop->require_subcommand();
  for (const auto add :
       {add_shop_new_command, add_shop_show_command, add_shop_add_key_command, add_shop_retire_key_command,
        add_shop_compromise_key_command, add_shop_threshold_command, add_shop_announce_root_command,
        add_shop_pin_head_command, add_shop_succeed_command}) {
    add(*shop, console, status);
  }
}

}  // namespace calseal
