// Reports as HTML files.
#pragma once

#include <string>

#include "calseal/cli/console/console.h"

namespace calseal {

void add_report_command(CLI::App& app, Console& console, const std::string& tool, int& status);

}  // namespace calseal
