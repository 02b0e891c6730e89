// Names of files as text that holds any bytes: a file system allows what UTF-8 and JSON do not.
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "calseal/base/record.h"

namespace calseal {

// Control characters, "%" and, in a name that is not UTF-8, every byte above 0x7e become "%" and two capital
// hexadecimal digits (RFC 3986 section 2.1); all else stays.
std::string path_text(std::string_view path);

// The inverse; nothing for text that path_text() does not write.
std::optional<std::string> parse_path_text(std::string_view text);

// The kind of such a text in a record.
struct PathText {
  void read(const JsonNode& node, std::string& path) const;
  void write(JsonText& text, const std::string& path) const { text.value(path_text(path)); }
  void describe(JsonText& schema) const { Text{65536}.describe(schema); }
};
inline constexpr PathText kPath;

// The folder and the name in a path; the folder of a lone name is empty.
std::string_view folder_of(std::string_view path);
std::string_view name_of(std::string_view path);
std::string join_path(std::string_view folder, std::string_view name);

}  // namespace calseal
