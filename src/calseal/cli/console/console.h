// One voice for all commands: results on stdout, talk on stderr, `error:` and `hint:` lines, JSON on request,
// colour only on a terminal and never as the only sign.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/base/result.h"

namespace calseal {

enum class Tone : std::uint8_t { kPlain, kGood, kBad, kWarn, kDim };

class Console {
 public:
  // Colour when stdout is a terminal, NO_COLOR is unset or empty and TERM is not "dumb".
  Console();

  bool json = false;   // --json was given
  bool ascii = false;  // --ascii was given: plain signs whatever the locale

  // `text` in a tone, or unchanged without colour.
  std::string toned(Tone tone, std::string_view text) const;

  // A result, to stdout; with --json only `value` is printed, as one line.
  void print(std::string_view text) const;
  // The same; on a terminal lines that do not fit hang at `column` (cli/console/fold.h).
  void print_folded(std::string_view text, std::size_t column) const;
  void print_json(const JsonValue& value) const;

  // Where values come from that nobody typed: told on stderr, or as a member of the result.
  void tell_source(const std::string& name, const std::string& text) const;

  // Talk, to stderr.
  void note(std::string_view text) const;

  // Prints an error for people (stderr) or programs (stdout: {"calseal":"error/1", ...}) and returns the exit
  // status.
  int fail(const Error& error) const;

  // Done once, before anything more is said: a line of progress is wiped. Nothing: nothing to do.
  void before_talk(std::function<void()> hush) const { hush_ = std::move(hush); }

 private:
  void hush() const;

  bool colour_ = false;
  mutable std::function<void()> hush_;
  mutable std::vector<JsonMember> sources_;
};

// The text of an error: "error: ..." and "hint: ..." lines without colour.
std::string error_text(const Error& error);

// A command that was chosen; returns the exit status, or the error that ends it.
using Command = std::function<Result<int>(Console&)>;

// All of a file, by the name a person gave, with the limit that fits its kind.
Result<std::string> read_text_file(const std::string& path, std::uint64_t limit);

}  // namespace calseal
