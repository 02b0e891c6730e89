// Commands of the shop: keys, trust file, sealing, and what it says afterwards.
#pragma once

#include "calseal/cli/console/command_line.h"

namespace calseal {

void add_shop_command(CommandLine& app, Console& console, int& status);  // shop, with all that follow
void add_shop_new_command(CommandLine& shop, Console& console, int& status);
void add_shop_show_command(CommandLine& shop, Console& console, int& status);
void add_shop_add_key_command(CommandLine& shop, Console& console, int& status);
void add_shop_retire_key_command(CommandLine& shop, Console& console, int& status);
void add_shop_compromise_key_command(CommandLine& shop, Console& console, int& status);
void add_shop_threshold_command(CommandLine& shop, Console& console, int& status);
void add_shop_announce_root_command(CommandLine& shop, Console& console, int& status);
void add_shop_pin_head_command(CommandLine& shop, Console& console, int& status);
void add_shop_succeed_command(CommandLine& shop, Console& console, int& status);

void add_key_command(CommandLine& app, Console& console, int& status);  // key new|show
void add_seal_command(CommandLine& app, Console& console, const std::string& tool, int& status);
void add_countersign_command(CommandLine& app, Console& console, int& status);
void add_withdraw_command(CommandLine& app, Console& console, int& status);
void add_customer_page_command(CommandLine& app, Console& console, const std::string& tool, int& status);

// Below "job", which must have been added.
void add_job_sign_list_command(CommandLine& app, Console& console, int& status);
void add_job_make_set_command(CommandLine& app, Console& console, int& status);

}  // namespace calseal
