// Options that every command has which signs a list of the shop.
#pragma once

#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"

namespace calseal {

struct StatementOptions {
  std::vector<std::string> keys;
  std::string trust, passphrase_file, time, output;
};

// `whose`: who holds the keys, as --help says it.
void add_statement_options(CommandLine& command, StatementOptions& options, const std::string& whose);

}  // namespace calseal
