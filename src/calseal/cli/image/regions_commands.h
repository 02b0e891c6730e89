// The subcommands of `calseal regions`.
#pragma once

#include "calseal/cli/console/command_line.h"

namespace calseal {

void add_regions_lint_command(CommandLine& regions, Console& console, int& status);
void add_regions_show_command(CommandLine& regions, Console& console, int& status);

}  // namespace calseal
