// Options that several commands of the shop have.
#pragma once

#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"

namespace calseal {

struct StatementOptions {
  std::vector<std::string> keys;
  std::string trust, passphrase_file, time, output;
};

// --approval, of every command that seals.
void add_approval_option(CommandLine& command, std::vector<std::string>& approvals);

// Those of a command that signs a statement. `whose`: who holds the keys, as --help says it.
void add_statement_options(CommandLine& command, StatementOptions& options, const std::string& whose);

}  // namespace calseal
