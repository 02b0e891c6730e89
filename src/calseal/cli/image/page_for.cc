#include "calseal/cli/image/page_for.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cctype>
#include <cstdlib>

namespace calseal {
namespace {

constexpr std::size_t kWidthWithoutTerminal = 100;
constexpr std::size_t kWidestUseful = 160;

bool locale_is_utf8() {
  for (const char* name : {"LC_ALL", "LC_CTYPE", "LANG"}) {
    const char* value = std::getenv(name);
    if (value == nullptr || *value == '\0') continue;
    std::string text(value);
    std::ranges::transform(text, text.begin(),
                           [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
    return text.ends_with("utf-8") || text.ends_with("utf8");
  }
  return false;
}

std::size_t terminal_width() {
  winsize size{};
  if (::ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) != 0 || size.ws_col == 0) return kWidthWithoutTerminal;
  return std::clamp<std::size_t>(size.ws_col, kPageWidthLeast, kWidestUseful);
}

Tone tone_of(Mark mark) {
  switch (mark) {
    case Mark::kPlain:
      return Tone::kPlain;
    case Mark::kGood:
      return Tone::kGood;
    case Mark::kBad:
      return Tone::kBad;
    case Mark::kCaution:
      return Tone::kWarn;
    case Mark::kDim:
      return Tone::kDim;
  }
  return Tone::kPlain;
}

}  // namespace

Page page_for(const Console& console) {
  return {!console.ascii && locale_is_utf8(), terminal_width(),
          [&console](Mark mark, std::string_view text) { return console.toned(tone_of(mark), text); }};
}

}  // namespace calseal
