// Questions to an archive on the command line: one file per command.
#pragma once

#include "calseal/cli/console/console.h"

namespace calseal {

void add_find_command(CLI::App& app, Console& console, int& status);
void add_identify_command(CLI::App& app, Console& console, int& status);

}  // namespace calseal
