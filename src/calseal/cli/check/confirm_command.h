// The command `confirm`: after the write.
#pragma once

#include "calseal/cli/console/console.h"

namespace calseal {

void add_confirm_command(CLI::App& app, Console& console, int& status);

}  // namespace calseal
