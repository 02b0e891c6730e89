// Names of files in commands that a stranger types.
#pragma once

#include <string>
#include <string_view>

namespace calseal {

// One word for a POSIX shell, on one line and in printable ASCII whatever is in it: other bytes stand as
// escapes of printf in a command substitution. IFS must be the shell's own.
std::string shell_word(std::string_view word);

}  // namespace calseal
