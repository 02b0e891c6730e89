#include "calseal/cli/console/console.h"

#include <unistd.h>

#include <cstdio>
#include <cstdlib>
#include <iostream>
#include <utility>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/fold.h"
#include "calseal/cli/console/reader.h"

namespace calseal {
namespace {

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
  if (!json) return;
  if (sources_.empty()) {
    std::cout << shown_json(value) << '\n';
    return;
  }
  JsonValue whole = value;
  whole.members.insert(whole.members.end(), sources_.begin(), sources_.end());
  std::cout << shown_json(whole) << '\n';
}

void Console::tell_source(const std::string& name, const std::string& text) const {
  if (!json) note(name + std::string(name.size() < 10 ? 10 - name.size() : 1, ' ') + text + "\n");
  sources_.emplace_back(name, calseal::json(text));
}

void Console::note(std::string_view text) const {
  hush();
  std::cerr << text;
}

int Console::fail(const Error& raised) const {
  const Error error = told_to(spoken_to(), raised);
  hush();
  if (json) {
    JsonValue value = json_object({{"calseal", calseal::json("error/1")}});
    JsonValue detail = json_error(error);
    for (auto& member : detail.members) value.members.push_back(std::move(member));
    std::cout << shown_json(value) << '\n';
  } else {
    const std::size_t width = terminal_columns(STDERR_FILENO);
    const std::string text = error_text(error);
    std::cerr << (width == 0 ? text : fold_lines(text, kErrorColumn, width));
  }
  return exit_status(error.reason);
}

std::string error_text(const Error& error) {
  std::string text = "error: ";
  if (!error.file.empty()) text += printable(error.file, 16384) + ": ";
  if (!error.place.empty()) text += error.place + ": ";
  text += std::string(info(error.reason).meaning) + " [" + std::string(code(error.reason)) + "]\n";
  if (!error.found.empty()) text += "  found     " + error.found + "\n";
  if (!error.expected.empty()) text += "  expected  " + error.expected + "\n";
  if (!error.next.empty()) text += "hint: " + error.next + "\n";
  return text;
}

Result<std::string> read_text_file(const std::string& path, std::uint64_t limit) {
  CALSEAL_ASSIGN(const Bytes bytes, read_file(path, limit));
  return std::string(text_of(bytes));
}

}  // namespace calseal
