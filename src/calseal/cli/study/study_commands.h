// Commands of the study: what an incoming read is worth, and what a write would touch.
#pragma once

#include "calseal/cli/console/command_line.h"

namespace calseal {

void add_receive_command(CommandLine& app, Console& console, int& status);  // receive
void add_plan_command(CommandLine& app, Console& console, int& status);     // plan
// regions draft, carry, diff, history, approve; they join the group that add_regions_command() made
void add_regions_draft_command(CommandLine& app, Console& console, int& status);
void add_regions_carry_command(CommandLine& app, Console& console, int& status);
void add_regions_diff_command(CommandLine& app, Console& console, int& status);
void add_regions_history_command(CommandLine& app, Console& console, int& status);
void add_regions_approve_command(CommandLine& app, Console& console, int& status);

}  // namespace calseal
