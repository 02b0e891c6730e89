// What is wrong with a command line in which a command or an option is mistyped.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/cli/console/command_tree.h"

namespace calseal {

// The first word that should be a command or an option of `program` and is none, with the nearest that is
// one.
std::optional<Error> find_wrong_word(const CommandPage& program, const std::vector<std::string>& words);

}  // namespace calseal
