// Commands and what they take, declared as data. Behind it stands CLI11, which only command_line.cc and
// command_tree.cc include: a file that does takes ten seconds to compile.
#pragma once

#include <cstdint>
#include <functional>
#include <initializer_list>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "calseal/cli/console/console.h"

namespace CLI {
class App;
class Option;
}  // namespace CLI

namespace calseal {

// One option or positional argument of a command. Every call changes it and gives it back.
class Argument {
 public:
  explicit Argument(CLI::Option& option) : option_(option) {}

  Argument* required(bool is_required = true);
  // What its value is, in --help and for completion: "FILE", "FOLDER", "[MEMORY=]FILE", "TIME"; else it is
  // "TEXT", or "NUMBER" for a number.
  Argument* takes(std::string value);
  Argument* one_each();                    // takes one value each time it is given
  Argument* separated_by(char separator);  // several values in one word
  Argument* in_range(std::uint64_t least, std::uint64_t most);
  Argument* one_of(std::initializer_list<const char*> choices);
  Argument* one_of(std::initializer_list<std::uint64_t> choices);
  Argument* excludes(const Argument* other);
  Argument* needs(const Argument* other);

  bool is_required() const;
  // Once the command line was read:
  std::vector<std::string> given() const;             // as it was typed; empty where it was not
  void give(const std::vector<std::string>& values);  // as if they had been typed

 private:
  CLI::Option& option_;
};

inline constexpr std::string_view kUsualHeading = "Subcommands";

// A program or one of its commands. Names are as in --help: "-o,--output", or "FILE" for a positional one;
// what is given lands in `into`, which must live until the program has run.
class CommandLine {
 public:
  CommandLine(std::string description, std::string name, std::string version);  // a program
  ~CommandLine();
  CommandLine(const CommandLine&) = delete;
  CommandLine& operator=(const CommandLine&) = delete;

  // Commands added from here on stand under it in --help; under an empty one they are left out there.
  void heading(std::string text);
  void last_line(std::string text);  // of --help
  CommandLine* add_subcommand(std::string name, std::string description);
  CommandLine* subcommand(std::string_view name);  // that was added
  void require_subcommand();
  bool has_run_subcommand() const;
  // Arguments that were required until now may be left out.
  void require_nothing();

  Argument* add_flag(const std::string& names, bool& into, const std::string& description);
  Argument* add_option(const std::string& names, std::string& into, const std::string& description);
  Argument* add_option(const std::string& names, std::vector<std::string>& into,
                       const std::string& description);
  Argument* add_option(const std::string& names, std::uint64_t& into, const std::string& description);
  Argument* add_option(const std::string& names, std::optional<std::uint64_t>& into,
                       const std::string& description);
  Argument* argument(const std::string& name);  // that was added

  // What comes between reading the command line and the command; an error ends it.
  void before_run(std::function<Status(const Console&)> step) { before_ = std::move(step); }
  Status prepare(const Console& console) const { return before_ ? before_(console) : Status(); }

  CLI::App& library() { return app_; }  // for this layer
  const CLI::App& library() const { return app_; }

 private:
  explicit CommandLine(CLI::App& app);
  template <typename Value>
  Argument* add(const std::string& names, Value& into, const std::string& description);
  Argument* keep(CLI::Option* option);

  std::unique_ptr<CLI::App> owned_;  // of a program
  std::string heading_{kUsualHeading};
  CLI::App& app_;
  std::vector<std::unique_ptr<CommandLine>> commands_;
  std::vector<std::unique_ptr<Argument>> arguments_;
  std::function<Status(const Console&)> before_;
};

// Registers --json and the exit status epilogue on a (sub)command, and `run` as what to do when it is chosen.
void set_command(CommandLine& command, Console& console, std::vector<std::string> examples,
                 const Command& run, int& status);

// Parses and runs: wrong usage is 2 with a hint, --help is 0, nothing escapes (bad_alloc: 4), a full stdout
// is 3.
int run_program(CommandLine& program, Console& console, int argc, char** argv, int& status);

}  // namespace calseal
