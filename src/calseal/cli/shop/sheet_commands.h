// The sheet on the command line.
#pragma once

#include "calseal/cli/console/command_line.h"

namespace calseal {

void add_sheet_command(CommandLine& app, Console& console, int& status);  // sheet, with those that follow
void add_sheet_make_command(CommandLine& sheet, Console& console, int& status);

}  // namespace calseal
