#include "calseal/cli/console/fold.h"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>

namespace calseal {
namespace {

constexpr std::size_t kLeast = 48, kMost = 160;  // columns; as for pages

// How many columns a word takes.
std::size_t columns_of(std::string_view word) {
  std::size_t columns = 0;
  for (std::size_t i = 0; i < word.size(); ++i) {
    if (word[i] == '\x1b') {
      i = std::min(word.find('m', i), word.size());
      continue;
    }
    columns += (static_cast<unsigned char>(word[i]) & 0xc0) != 0x80 ? 1 : 0;
  }
  return columns;
}

std::size_t hanging(std::string_view line, std::size_t column) {
  if (line.starts_with("  - ")) return 4;
  if (line.starts_with("  ")) return column;
  const std::size_t word = line.find(' ');
  return word != std::string_view::npos && word > 0 && line[word - 1] == ':' ? word + 1 : 0;
}

std::string folded(std::string_view line, std::size_t column, std::size_t width) {
  const std::size_t hang = std::min(hanging(line, column), width / 2);
  std::string out;
  std::size_t used = 0;
  bool fresh = true;  // nothing but blanks in this line so far
  for (std::size_t at = 0; at < line.size();) {
    const std::size_t word = std::min(line.find_first_not_of(' ', at), line.size());
    const std::size_t end = std::min(line.find(' ', word), line.size());
    const std::size_t blanks = word - at;
    const std::size_t columns = columns_of(line.substr(word, end - word));
    if (!fresh && used + blanks + columns > width && used > hang) {
      out += "\n" + std::string(hang, ' ');
      used = hang;
    } else {
      out.append(blanks, ' ');
      used += blanks;
    }
    out += line.substr(word, end - word);
    used += columns;
    fresh = false;
    at = end;
  }
  return out;
}

}  // namespace

std::string fold_lines(std::string_view text, std::size_t column, std::size_t width) {
  std::string out;
  while (!text.empty()) {
    const std::size_t end = std::min(text.find('\n'), text.size());
    const std::string_view line = text.substr(0, end);
    out += columns_of(line) > width ? folded(line, column, width) : std::string(line);
    if (end == text.size()) break;
    out += '\n';
    text.remove_prefix(end + 1);
  }
  return out;
}

std::size_t terminal_columns(int descriptor) {
  winsize size{};
  if (::isatty(descriptor) != 1 || ::ioctl(descriptor, TIOCGWINSZ, &size) != 0 || size.ws_col == 0) return 0;
  return std::clamp<std::size_t>(size.ws_col, kLeast, kMost);
}

}  // namespace calseal
