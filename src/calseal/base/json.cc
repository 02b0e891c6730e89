#include "calseal/base/json.h"

#include <algorithm>
#include <cstring>

#include "calseal/base/json_tree.h"
#include "calseal/base/text.h"
#include "calseal/base/utf8.h"

namespace calseal {

const JsonValue* JsonValue::find(std::string_view key) const {
  for (const auto& [name, value] : members) {
    if (name == key) return &value;
  }
  return nullptr;
}

Result<JsonValue> parse_json(std::string_view text, const std::string& file) {
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(text, file));
  return tree.copy(0);
}

std::string line_and_column(std::string_view text, std::size_t offset) {
  offset = std::min(offset, text.size());
  const auto before = text.substr(0, offset);
  const auto line = 1 + std::count(before.begin(), before.end(), '\n');
  const std::size_t newline = before.rfind('\n');
  const std::size_t column = newline == std::string_view::npos ? offset + 1 : offset - newline;
  return "line " + std::to_string(line) + ", column " + std::to_string(column);
}

std::size_t raw_length(std::string_view text) {
  std::size_t at = 0;
  // Eight bytes in one look, by the zero-byte test (Warren, Hacker's Delight, section 6-1; from memory). It
  // may take a byte behind a real one for one, never miss the first.
  constexpr std::uint64_t kEach = 0x0101010101010101;
  constexpr std::uint64_t kTop = 0x80 * kEach;
  const auto has_zero = [](std::uint64_t eight) { return (eight - kEach) & ~eight & kTop; };
  for (std::uint64_t eight = 0; text.size() - at >= sizeof(eight); at += sizeof(eight)) {
    std::memcpy(&eight, text.data() + at, sizeof(eight));
    const std::uint64_t control = (eight - 0x20 * kEach) & ~eight & kTop;  // a byte below 0x20
    if ((control | has_zero(eight ^ '"' * kEach) | has_zero(eight ^ '\\' * kEach)) != 0) break;
  }
  while (at < text.size() && static_cast<unsigned char>(text[at]) >= 0x20 && text[at] != '"' &&
         text[at] != '\\')
    ++at;
  return at;
}

void append_canonical_string(std::string& out, std::string_view text) {
  constexpr char kHex[] = "0123456789abcdef";
  out.push_back('"');
  while (!text.empty()) {
    const std::size_t escaped = raw_length(text);
    out.append(text, 0, escaped);
    if (escaped == text.size()) break;
    const char c = text[escaped];
    switch (c) {
      case '"':
        out += "\\\"";
        break;
      case '\\':
        out += "\\\\";
        break;
      case '\b':
        out += "\\b";
        break;
      case '\t':
        out += "\\t";
        break;
      case '\n':
        out += "\\n";
        break;
      case '\f':
        out += "\\f";
        break;
      case '\r':
        out += "\\r";
        break;
      default:
        out += "\\u00";
        out.push_back(kHex[c >> 4]);
        out.push_back(kHex[c & 15]);
    }
    text.remove_prefix(escaped + 1);
  }
  out.push_back('"');
}

namespace {

void append_canonical(std::string& out, const JsonValue& value) {
  switch (value.kind) {
    case JsonValue::Kind::kString:
      append_canonical_string(out, value.text);
      return;
    case JsonValue::Kind::kInteger:
      out += std::to_string(value.integer);
      return;
    case JsonValue::Kind::kBoolean:
      out += value.boolean ? "true" : "false";
      return;
    case JsonValue::Kind::kArray: {
      out.push_back('[');
      for (std::size_t i = 0; i < value.items.size(); ++i) {
        if (i != 0) out.push_back(',');
        append_canonical(out, value.items[i]);
      }
      out.push_back(']');
      return;
    }
    case JsonValue::Kind::kObject: {
      out.push_back('{');
      for (std::size_t i = 0; i < value.members.size(); ++i) {
        if (i != 0) out.push_back(',');
        append_canonical_string(out, value.members[i].first);
        out.push_back(':');
        append_canonical(out, value.members[i].second);
      }
      out.push_back('}');
      return;
    }
  }
}

}  // namespace

std::string canonical_json(const JsonValue& value) {
  std::string out;
  append_canonical(out, value);
  return out;
}

namespace {

void append_unit(std::string& out, std::uint32_t unit) {
  constexpr char kHex[] = "0123456789abcdef";
  out += "\\u";
  for (int shift = 12; shift >= 0; shift -= 4) out.push_back(kHex[(unit >> shift) & 15]);
}

}  // namespace

// Outside of strings a canonical text is plain ASCII, so it can be gone through as a whole.
std::string shown_json(const JsonValue& value) {
  const std::string text = canonical_json(value);
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    std::uint32_t point = 0;
    const std::size_t length = utf8_length(text, at, point);
    if (length == 0) {
      append_unit(out, 0xfffd);
    } else if (!misleads(point)) {
      out.append(text, at, length);
    } else if (point <= 0xffff) {
      append_unit(out, point);
    } else {
      append_unit(out, 0xd800 + ((point - 0x10000) >> 10));
      append_unit(out, 0xdc00 + ((point - 0x10000) & 0x3ff));
    }
    at += std::max<std::size_t>(length, 1);
  }
  return out;
}

}  // namespace calseal
