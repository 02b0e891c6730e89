#include "calseal/cli/console/command_line.h"

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <iostream>
#include <new>
#include <utility>

#include "calseal/base/text.h"
#include "calseal/cli/console/wrong_word.h"

namespace calseal {
namespace {

constexpr std::uint64_t kHighLimit = std::uint64_t{1} << 32;
constexpr const char* kExitStatuses =
    "Exit status: 0 accepted or clean; 1 refused, findings or malformed input; 2 wrong usage; 3 could not "
    "read or write; 4 a "
    "fault of calseal; 130 interrupted.";

}  // namespace

Argument* Argument::required(bool is_required) {
  option_.required(is_required);
  return this;
}

Argument* Argument::takes(std::string value) {
  option_.type_name(std::move(value));
  return this;
}

Argument* Argument::one_each() {
  option_.expected(1)->take_all()->allow_extra_args(false);
  return this;
}

Argument* Argument::separated_by(char separator) {
  option_.delimiter(separator);
  return this;
}

Argument* Argument::in_range(std::uint64_t least, std::uint64_t most) {
  option_.check(CLI::Range(least, most).description(""));
  // Higher limits are those of the format: no news for anybody.
  return most < kHighLimit ? takes(std::to_string(least) + ".." + std::to_string(most)) : this;
}

Argument* Argument::one_of(std::initializer_list<const char*> choices) {
  const std::vector<std::string> all(choices.begin(), choices.end());
  option_.check(CLI::IsMember(all).description(""));
  return takes(CLI::detail::generate_set(all));
}

Argument* Argument::one_of(std::initializer_list<std::uint64_t> choices) {
  const std::vector<std::uint64_t> all(choices);
  option_.check(CLI::IsMember(all).description(""));
  return takes(CLI::detail::generate_set(all));
}

Argument* Argument::excludes(const Argument* other) {
  option_.excludes(&other->option_);
  return this;
}

Argument* Argument::needs(const Argument* other) {
  option_.needs(&other->option_);
  return this;
}

bool Argument::is_required() const { return option_.get_required(); }

std::vector<std::string> Argument::given() const { return option_.results(); }

void Argument::give(const std::vector<std::string>& values) {
  option_.add_result(values);
  option_.run_callback();
}

CommandLine::CommandLine(std::string description, std::string name, std::string version)
    : owned_(std::make_unique<CLI::App>(std::move(description), name)), app_(*owned_) {
  app_.set_version_flag("--version", name + " " + version);
}

CommandLine::CommandLine(CLI::App& app) : app_(app) {}

CommandLine::~CommandLine() = default;

void CommandLine::heading(std::string text) { heading_ = std::move(text); }

void CommandLine::last_line(std::string text) { app_.footer(std::move(text)); }

CommandLine* CommandLine::add_subcommand(std::string name, std::string description) {
  CLI::App* command = app_.add_subcommand(std::move(name), std::move(description));
  command->group(heading_);
  commands_.push_back(std::unique_ptr<CommandLine>(new CommandLine(*command)));
  return commands_.back().get();
}

CommandLine* CommandLine::subcommand(std::string_view name) {
  const auto found =
      std::ranges::find_if(commands_, [&](const auto& command) { return command->app_.get_name() == name; });
  return found == commands_.end() ? nullptr : found->get();
}

void CommandLine::require_subcommand() { app_.require_subcommand(1); }

void CommandLine::require_nothing() {
  for (CLI::Option* option : app_.get_options()) option->required(false);
}

bool CommandLine::has_run_subcommand() const { return !app_.get_subcommands().empty(); }

Argument* CommandLine::keep(CLI::Option* option) {
  arguments_.push_back(std::make_unique<Argument>(*option));
  return arguments_.back().get();
}

Argument* CommandLine::add_flag(const std::string& names, bool& into, const std::string& description) {
  return keep(app_.add_flag(names, into, description));
}

template <typename Value>
Argument* CommandLine::add(const std::string& names, Value& into, const std::string& description) {
  return keep(app_.add_option(names, into, description));
}

Argument* CommandLine::add_option(const std::string& names, std::string& into,
                                  const std::string& description) {
  return add(names, into, description);
}

Argument* CommandLine::add_option(const std::string& names, std::vector<std::string>& into,
                                  const std::string& description) {
  return add(names, into, description);
}

Argument* CommandLine::add_option(const std::string& names, std::uint64_t& into,
                                  const std::string& description) {
  return add(names, into, description)->takes("NUMBER");
}

Argument* CommandLine::add_option(const std::string& names, std::optional<std::uint64_t>& into,
                                  const std::string& description) {
  return add(names, into, description)->takes("NUMBER");
}

Argument* CommandLine::argument(const std::string& name) { return keep(app_.get_option(name)); }

void set_command(CommandLine& command, Console& console, std::vector<std::string> examples,
                 const Command& run, int& status) {
  CLI::App& app = command.library();
  app.add_flag("--json", console.json, "Print one JSON object on stdout (docs/json-output.md)");
  std::string footer;
  if (!examples.empty()) footer += "Examples:\n";
  for (const std::string& example : examples) footer += "  " + example + "\n";
  app.footer(footer + "\n" + kExitStatuses);
  app.callback([&command, &console, &status, run] {
    const Status ready = command.prepare(console);
    const Result<int> result = ready ? run(console) : Result<int>(fail(ready.error()));
    status = result ? *result : console.fail(result.error());
  });
}

int run_program(CommandLine& program, Console& console, int argc, char** argv, int& status) {
  CLI::App& app = program.library();
  std::vector<std::string> arguments(argv + std::min(argc, 1), argv + argc);
  // Taken by every command and told once, in the program's own help; so it is no option of each.
  if (!app.get_subcommands({}).empty()) {
    app.add_flag("--ascii", console.ascii,
                 "Signs in plain ASCII, whatever the locale; every command takes it");
    const auto is_ascii = [](const std::string& argument) { return argument == "--ascii"; };
    const auto end = std::find(arguments.begin(), arguments.end(), "--");
    console.ascii = std::any_of(arguments.begin(), end, is_ascii);
    arguments.erase(std::remove_if(arguments.begin(), end, is_ascii), end);
  }
  const std::vector<std::string> words = arguments;
  std::reverse(arguments.begin(), arguments.end());  // as CLI11 takes them
  // CLI11 reports by exceptions; they end here, as does everything else.
  try {
    app.parse(std::move(arguments));
  } catch (const CLI::Success& success) {
    app.exit(success);
    status = 0;
  } catch (const CLI::ParseError& error) {
    for (int i = 1; i < argc; ++i) console.json = console.json || std::string_view(argv[i]) == "--json";
    if (const auto wrong = find_wrong_word(describe_commands(program), words)) return console.fail(*wrong);
    return console.fail({Reason::kUsage, "", "", printable(error.what(), 400), "a command line as in --help",
                         "run " + app.get_name() + " --help, or " + app.get_name() + " COMMAND --help"});
  } catch (const std::bad_alloc&) {
    return console.fail({Reason::kOutOfMemory, "", "", "an allocation that failed",
                         "enough memory for the largest input", "run on a machine with more memory"});
  } catch (const std::exception& error) {
    return console.fail({Reason::kInternal, "", "", printable(error.what()), "no exception",
                         "report this with the command line"});
  }
  std::cout.flush();
  if (!std::cout || std::fflush(stdout) != 0) {
    console.json = false;
    return console.fail({Reason::kWriteFailed, "standard output", "", "output that could not be written",
                         "all of it written", "free some space, or write to another place"});
  }
  return status;
}

}  // namespace calseal
