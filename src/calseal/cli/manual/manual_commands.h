// Commands that describe the commands: man pages and completion, out of the same declarations as --help.
#pragma once

#include <string>

#include "calseal/cli/console/command_line.h"

namespace calseal {

// Add last: both describe whatever `app` has when they run.
void add_manual_command(CommandLine& app, Console& console, const std::string& version, int& status);
void add_completion_command(CommandLine& app, Console& console, int& status);

}  // namespace calseal
