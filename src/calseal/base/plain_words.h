// Words as people type them: blanks around them and the case of letters do not count. ASCII alone.
#pragma once

#include <string>
#include <string_view>

namespace calseal {

// Without blanks and tabs at either end.
inline std::string_view trimmed(std::string_view text) {
  const std::size_t first = text.find_first_not_of(" \t");
  return first == std::string_view::npos ? "" : text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

// A to Z as a to z.
inline std::string lower_case(std::string_view text) {
  std::string out(text);
  for (char& c : out) c = c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  return out;
}

}  // namespace calseal
