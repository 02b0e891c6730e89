// The subcommands of `calseal regions`.
#pragma once

#include "calseal/cli/console/console.h"

namespace calseal {

void add_regions_lint_command(CLI::App& regions, Console& console, int& status);
void add_regions_show_command(CLI::App& regions, Console& console, int& status);

}  // namespace calseal
