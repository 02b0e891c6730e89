// Commands of the shop: keys, trust file, sealing.
#pragma once

#include "calseal/cli/console/console.h"

namespace calseal {

void add_shop_command(CLI::App& app, Console& console, int& status);  // shop new
void add_key_command(CLI::App& app, Console& console, int& status);   // key new|show
void add_seal_command(CLI::App& app, Console& console, const std::string& tool, int& status);

void add_set_command(CLI::App& app, Console& console, int& status);

}  // namespace calseal
