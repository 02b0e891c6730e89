// Completion of command lines in bash.
#pragma once

#include <string>

#include "calseal/cli/console/command_tree.h"

namespace calseal {

// A script to be sourced by bash: completes commands, options, and values that are a choice; else file names.
std::string bash_completion(const CommandPage& program);

}  // namespace calseal
