// Commands that make, look at, carry and compose options: nothing here signs.
#pragma once

#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"
#include "calseal/option/option_file.h"

namespace calseal {

void add_option_command(CommandLine& app, Console& console, int& status);  // option, with all that follow
void add_option_carry_command(CommandLine& option, Console& console, int& status);
void add_option_compose_command(CommandLine& option, Console& console, int& status);

}  // namespace calseal
