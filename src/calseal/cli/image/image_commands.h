// Commands that look at region maps, images and bundles, or correct an image: nothing here signs or decides.
#pragma once

#include "calseal/cli/console/command_line.h"

namespace calseal {

void add_regions_command(CommandLine& app, Console& console, int& status);    // regions lint|show|schema
void add_compare_command(CommandLine& app, Console& console, int& status);    // compare
void add_checksums_command(CommandLine& app, Console& console, int& status);  // checksums
void add_correct_command(CommandLine& app, Console& console, int& status);    // correct
void add_show_command(CommandLine& app, Console& console, int& status);       // show
void add_reasons_command(CommandLine& app, Console& console, int& status);    // reasons

}  // namespace calseal
