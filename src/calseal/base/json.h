// Strict JSON: RFC 8259 narrowed to what our files use, as a tree in which every value knows its place. What
// is only read is a JsonTree (json_tree.h).
//
// Refused: repeated keys, null, negative or fractional numbers, numbers above 2^53-1, a byte order mark, text
// that is not UTF-8, nesting deeper than kJsonDepthLimit. Key order is kept.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "calseal/base/result.h"

namespace calseal {

inline constexpr int kJsonDepthLimit = 32;
inline constexpr std::uint64_t kJsonIntegerLimit = (std::uint64_t{1} << 53) - 1;

enum class JsonKind : std::uint8_t { kString, kInteger, kBoolean, kArray, kObject };

struct JsonMember;

// A value that can be changed and written.
struct JsonValue {
  using Kind = JsonKind;

  Kind kind = Kind::kObject;
  bool boolean = false;
  std::uint64_t integer = 0;
  std::size_t offset = 0;           // of the first byte of the value
  std::string text;                 // kString: decoded, UTF-8
  std::vector<JsonValue> items;     // kArray
  std::vector<JsonMember> members;  // kObject, in the order written

  const JsonValue* find(std::string_view key) const;
};

// One key and its value; a type of its own, since a pair of an incomplete type is none that every compiler
// takes.
struct JsonMember {
  JsonMember(std::string key, JsonValue value) : first(std::move(key)), second(std::move(value)) {}
  std::string first;
  JsonValue second;
};

// Parses a whole text. `file` only names it in errors. The tree is at most a small multiple of the text in
// size.
Result<JsonValue> parse_json(std::string_view text, const std::string& file);

// "line 3, column 14" (both from 1; columns in bytes) of an offset into a text.
std::string line_and_column(std::string_view text, std::size_t offset);

// The one canonical text of a tree: no white space, keys in the order held, escapes only \" \\ \b \t \n \f \r
// and lower-case \u00xx below 0x20, all else raw UTF-8.
std::string canonical_json(const JsonValue& value);

// The same value for a terminal or a file that programs read: characters that mislead are escaped, and bytes
// that are not UTF-8 stand as U+FFFD, so that it is UTF-8 whatever went in.
std::string shown_json(const JsonValue& value);

// Bytes of a string before the first that its canonical form escapes.
std::size_t raw_length(std::string_view text);

// Appends a string in canonical form, quotes included.
void append_canonical_string(std::string& out, std::string_view text);

}  // namespace calseal
