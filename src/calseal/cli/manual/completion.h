// Completion of command lines in the usual shells.
#pragma once

#include <string>
#include <string_view>

#include "calseal/cli/console/command_tree.h"

namespace calseal {

// Scripts to be sourced: they complete commands, options, values that are a choice, and file names.
std::string bash_completion(const CommandPage& program);
std::string zsh_completion(const CommandPage& program);
std::string fish_completion(const CommandPage& program);

// For the writers of these scripts.
std::string joined(const std::vector<std::string>& words);
std::string replaced(std::string text, std::string_view what, std::string_view with);
std::string completion_function(const CommandPage& program);  // "_calseal_check" for calseal-check

}  // namespace calseal
