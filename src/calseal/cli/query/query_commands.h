// Questions to an archive on the command line: one file per command.
#pragma once

#include "calseal/cli/console/command_line.h"

namespace calseal {

void add_find_command(CommandLine& app, Console& console, int& status);
void add_identify_command(CommandLine& app, Console& console, int& status);

}  // namespace calseal
