// Commands of the study: what an incoming read is worth, and what a write would touch.
#pragma once

#include "calseal/cli/console/console.h"

namespace calseal {

void add_receive_command(CLI::App& app, Console& console, int& status);  // receive
void add_plan_command(CLI::App& app, Console& console, int& status);     // plan
// regions draft, carry, diff; they join the group that add_regions_command() made
void add_regions_draft_command(CLI::App& app, Console& console, int& status);
void add_regions_diff_command(CLI::App& app, Console& console, int& status);

}  // namespace calseal
