// The command `confirm`: after the write.
#pragma once

#include "calseal/cli/console/command_line.h"

namespace calseal {

void add_confirm_command(CommandLine& app, Console& console, int& status);

}  // namespace calseal
