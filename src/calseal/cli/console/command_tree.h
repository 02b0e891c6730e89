// What a program's commands are called and what they take, read from their declarations.
#pragma once

#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"

namespace calseal {

struct CommandOption {
  std::vector<std::string> names;  // "-o", "--output"; empty for a positional one
  std::string positional;          // name of a positional one
  std::string value;               // what it takes: "FILE", "FOLDER", "TEXT", "{areas,full}" ...
  std::string description;
  std::vector<std::string> choices;  // when only these are allowed
  bool takes_value = false;
  bool repeats = false;
  bool required = false;
};

struct CommandPage {
  std::vector<std::string> path;  // "calseal", "shop", "new"
  std::string heading;            // that it stands under above, if it is not the usual one
  std::string description;
  std::vector<CommandOption> options;
  std::vector<std::string> examples;
  std::string exit_statuses;          // empty for a command that only has commands
  std::vector<CommandPage> commands;  // below it, in the order of --help
};

CommandPage describe_commands(const CommandLine& program);

}  // namespace calseal
