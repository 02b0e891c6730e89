#include "calseal/cli/console/command_tree.h"

#include <CLI/CLI.hpp>
#include <string_view>

namespace calseal {
namespace {

// "{areas,full}" has choices; nothing else has braces.
std::vector<std::string> choices_in(std::string_view type) {
  std::vector<std::string> choices;
  const std::size_t open = type.find('{');
  const std::size_t close = type.find('}');
  if (open == std::string_view::npos || close == std::string_view::npos || close < open) return choices;
  std::string_view rest = type.substr(open + 1, close - open - 1);
  while (!rest.empty()) {
    const std::size_t comma = rest.find(',');
    choices.emplace_back(rest.substr(0, comma));
    rest = comma == std::string_view::npos ? std::string_view() : rest.substr(comma + 1);
  }
  return choices;
}

CommandOption describe_option(const CLI::Option& option) {
  CommandOption described;
  for (const std::string& name : option.get_snames()) described.names.push_back("-" + name);
  for (const std::string& name : option.get_lnames()) described.names.push_back("--" + name);
  if (described.names.empty()) described.positional = option.get_name();
  described.description = option.get_description();
  described.value = option.get_type_name();
  described.choices = choices_in(option.get_type_name());
  described.takes_value = option.get_items_expected_max() > 0 && option.get_type_size_max() > 0;
  described.repeats = option.get_expected_max() > 1;
  described.required = option.get_required();
  return described;
}

// The footer that set_command() writes: examples, an empty line, exit statuses.
void read_footer(std::string_view footer, CommandPage& page) {
  while (!footer.empty()) {
    const std::size_t newline = footer.find('\n');
    const std::string_view line = footer.substr(0, newline);
    footer = newline == std::string_view::npos ? std::string_view() : footer.substr(newline + 1);
    if (line.starts_with("  ")) page.examples.emplace_back(line.substr(2));
    if (line.starts_with("Exit status: ")) page.exit_statuses = line.substr(13);
  }
}

CommandPage describe(const CLI::App& app, std::vector<std::string> path) {
  CommandPage page;
  path.push_back(app.get_name());
  page.path = path;
  page.description = app.get_description();
  for (const CLI::Option* option : app.get_options()) page.options.push_back(describe_option(*option));
  read_footer(app.get_footer(), page);
  for (const CLI::App* command : app.get_subcommands([](const CLI::App*) { return true; })) {
    page.commands.push_back(describe(*command, path));
    const std::string& heading = command->get_group();
    if (heading != kUsualHeading) page.commands.back().heading = heading.empty() ? "Besides" : heading;
  }
  return page;
}

}  // namespace

CommandPage describe_commands(const CommandLine& program) { return describe(program.library(), {}); }

}  // namespace calseal
