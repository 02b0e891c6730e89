// Reports as HTML files.
#pragma once

#include <string>

#include "calseal/cli/console/command_line.h"

namespace calseal {

void add_report_command(CommandLine& app, Console& console, const std::string& tool, int& status);

}  // namespace calseal
