#include "calseal/report/evidence/shell_word.h"

namespace calseal {
namespace {

bool is_plain(char c) { return c >= ' ' && c <= '~'; }

std::string octal(char c) {
  const auto byte = static_cast<unsigned char>(c);
  std::string text = "\\";
  for (const int shift : {6, 3, 0}) text += static_cast<char>('0' + ((byte >> shift) & 7));
  return text;
}

}  // namespace

std::string shell_word(std::string_view word) {
  std::string text;
  for (std::size_t i = 0; i < word.size();) {
    std::string plain, escaped;
    while (i < word.size() && is_plain(word[i])) {
      plain += word[i] == '\'' ? std::string("'\\''") : std::string(1, word[i]);
      ++i;
    }
    while (i < word.size() && !is_plain(word[i]) && word[i] != '\n') escaped += octal(word[i++]);
    if (!plain.empty()) text += "'" + plain + "'";
    if (!escaped.empty()) text += "\"$(printf '" + escaped + "')\"";
    // A substitution would lose it; the third character of a shell's IFS is a line feed.
    for (; i < word.size() && word[i] == '\n'; ++i) text += "\"${IFS#??}\"";
  }
  return text.empty() ? "''" : text;
}

}  // namespace calseal
