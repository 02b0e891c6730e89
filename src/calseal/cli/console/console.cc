#include "calseal/cli/console/console.h"

#include <unistd.h>

#include <CLI/CLI.hpp>
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <iostream>
#include <new>
#include <utility>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/fold.h"
#include "calseal/cli/console/large_pages.h"

namespace calseal {
namespace {

constexpr const char* kExitStatuses =
    "Exit status: 0 accepted or clean; 1 refused, findings or malformed input; 2 wrong usage; 3 could not "
    "read or write; 4 a "
    "fault of calseal; 130 interrupted.";

constexpr std::size_t kErrorColumn = 12;  // where the values of an error start

bool wants_colour() {
  const char* no_colour = std::getenv("NO_COLOR");
  const char* terminal = std::getenv("TERM");
  return ::isatty(STDOUT_FILENO) == 1 && (no_colour == nullptr || *no_colour == '\0') &&
         (terminal == nullptr || std::string_view(terminal) != "dumb");
}

}  // namespace

Console::Console() : colour_(wants_colour()) {}

std::string Console::toned(Tone tone, std::string_view text) const {
  const char* start = "";
  switch (tone) {
    case Tone::kPlain:
      return std::string(text);
    case Tone::kGood:
      start = "\x1b[1;36m";
      break;
    case Tone::kBad:
      start = "\x1b[1;35m";
      break;
    case Tone::kWarn:
      start = "\x1b[1m";
      break;
    case Tone::kDim:
      start = "\x1b[2m";
      break;
  }
  if (!colour_) return std::string(text);
  return start + std::string(text) + "\x1b[0m";
}

void Console::hush() const {
  if (hush_) std::exchange(hush_, nullptr)();
}

void Console::print(std::string_view text) const {
  hush();
  if (!json) std::cout << text;
}

void Console::print_folded(std::string_view text, std::size_t column) const {
  const std::size_t width = terminal_columns(STDOUT_FILENO);
  print(width == 0 ? std::string(text) : fold_lines(text, column, width));
}

void Console::print_json(const JsonValue& value) const {
  hush();
  if (json) std::cout << canonical_json(value) << '\n';
}

void Console::note(std::string_view text) const {
  hush();
  std::cerr << text;
}

int Console::fail(const Error& error) const {
  hush();
  if (json) {
    JsonValue value = json_object({{"calseal", calseal::json("error/1")}});
    JsonValue detail = json_error(error);
    for (auto& member : detail.members) value.members.push_back(std::move(member));
    std::cout << canonical_json(value) << '\n';
  } else {
    const std::size_t width = terminal_columns(STDERR_FILENO);
    const std::string text = error_text(error);
    std::cerr << (width == 0 ? text : fold_lines(text, kErrorColumn, width));
  }
  return exit_status(error.reason);
}

std::string error_text(const Error& error) {
  std::string text = "error: ";
  if (!error.file.empty()) text += error.file + ": ";
  if (!error.place.empty()) text += error.place + ": ";
  text += std::string(info(error.reason).meaning) + " [" + std::string(code(error.reason)) + "]\n";
  if (!error.found.empty()) text += "  found     " + error.found + "\n";
  if (!error.expected.empty()) text += "  expected  " + error.expected + "\n";
  if (!error.next.empty()) text += "hint: " + error.next + "\n";
  return text;
}

void set_command(CLI::App& app, Console& console, std::vector<std::string> examples, const Command& run,
                 int& status) {
  app.add_flag("--json", console.json, "Print one JSON object on stdout (docs/json-output.md)");
  std::string footer;
  if (!examples.empty()) footer += "Examples:\n";
  for (const std::string& example : examples) footer += "  " + example + "\n";
  app.footer(footer + "\n" + kExitStatuses);
  app.callback([&console, &status, run] {
    const Result<int> result = run(console);
    status = result ? *result : console.fail(result.error());
  });
}

int run_program(CLI::App& app, Console& console, int argc, char** argv, int& status) {
  ask_for_large_pages();
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
  std::reverse(arguments.begin(), arguments.end());  // as CLI11 takes them
  // CLI11 reports by exceptions; they end here, as does everything else.
  try {
    app.parse(std::move(arguments));
  } catch (const CLI::Success& success) {
    app.exit(success);
    status = 0;
  } catch (const CLI::ParseError& error) {
    for (int i = 1; i < argc; ++i) console.json = console.json || std::string_view(argv[i]) == "--json";
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

Result<std::string> read_text_file(const std::string& path, std::uint64_t limit) {
  CALSEAL_ASSIGN(const Bytes bytes, read_file(path, limit));
  return std::string(text_of(bytes));
}

}  // namespace calseal
