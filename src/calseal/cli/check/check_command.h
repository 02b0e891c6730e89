// The command `check`, for both programs.
#pragma once

#include "calseal/cli/console/command_line.h"

namespace calseal {

// Adds the options of `check` to a (sub)command and sets what it does. `command` is how the program is called
// ("calseal check").
void add_check_command(CommandLine& app, Console& console, const std::string& command, int& status);

}  // namespace calseal
