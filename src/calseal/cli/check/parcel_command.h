// The command `calseal-check parcel`: what a customer sends to his shop.
#pragma once

#include "calseal/cli/console/command_line.h"

namespace calseal {

// `tool`: name and version of the program, which go into the parcel.
void add_parcel_command(CommandLine& app, Console& console, const std::string& tool, int& status);

}  // namespace calseal
