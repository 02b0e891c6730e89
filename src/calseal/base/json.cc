// The only file that touches the JSON library's reader.
#include "calseal/base/json.h"

#include <rapidjson/reader.h>

#include <algorithm>
#include <limits>
#include <optional>
#include <unordered_set>

#include "calseal/base/text.h"

namespace calseal {
namespace {

// The keys of one object: looked through while they are few, a hash set when an object has many.
class KeySet {
 public:
  // False when `key` is there already. `members` are those whose keys were inserted before.
  bool insert(const std::string& key, const std::vector<JsonMember>& members) {
    constexpr std::size_t kFew = 16;
    if (members.size() < kFew) {
      return std::none_of(members.begin(), members.end(),
                          [&](const JsonMember& member) { return member.first == key; });
    }
    if (many_.empty()) {
      for (const JsonMember& member : members) many_.insert(member.first);
    }
    return many_.insert(key).second;
  }

 private:
  std::unordered_set<std::string> many_;
};

// Builds the tree, and stops at the first thing that strict JSON does not have. The library decodes strings
// in place, in a copy of the text, and says how far it has read.
class TreeBuilder {
 public:
  using Size = rapidjson::SizeType;

  TreeBuilder(std::string_view text, const std::string& file, rapidjson::InsituStringStream& stream)
      : text_(text), file_(file), stream_(stream), has_unicode_escapes_(text.find("\\u") != text.npos) {}

  bool Null() {
    return refuse(4, Reason::kJsonType, "null", "a value", "leave the key out, or give a value");
  }
  bool Bool(bool value) {
    place(JsonValue::Kind::kBoolean, value ? 4 : 5)->boolean = value;
    return true;
  }
  // Never called: numbers come as they are written.
  bool Int(int /*value*/) { return false; }
  bool Uint(unsigned /*value*/) { return false; }
  bool Int64(std::int64_t /*value*/) { return false; }
  bool Uint64(std::uint64_t /*value*/) { return false; }
  bool Double(double /*value*/) { return false; }

  bool RawNumber(const char* begin, Size length, bool /*copy*/) {
    const std::string_view literal(begin, length);
    constexpr std::size_t kMostDigits = 16;  // of kJsonIntegerLimit
    const bool is_whole =
        std::all_of(literal.begin(), literal.end(), [](char c) { return c >= '0' && c <= '9'; });
    std::uint64_t value = 0;
    if (is_whole && length <= kMostDigits) {
      for (const char c : literal) value = value * 10 + static_cast<std::uint64_t>(c - '0');
    }
    if (!is_whole || length > kMostDigits || value > kJsonIntegerLimit)
      return refuse_number(literal, is_whole);
    place(JsonValue::Kind::kInteger, 0)->integer = value;
    return true;
  }

  bool String(const char* decoded, Size length, bool /*copy*/) {
    if (!is_sound({decoded, length})) return false;
    place(JsonValue::Kind::kString, 0)->text.assign(decoded, length);
    return true;
  }

  bool StartObject() { return open(JsonValue::Kind::kObject); }
  bool Key(const char* decoded, Size length, bool /*copy*/) {
    key_.assign(decoded, length);
    if (!is_sound(key_)) return false;
    if (!keys_.back().insert(key_, stack_.back()->members)) {
      return refuse(0, Reason::kJsonRepeatedKey, "\"" + printable(key_, 60) + "\" again", "each key once",
                    "remove one of the two");
    }
    return true;
  }
  bool EndObject(Size /*members*/) {
    stack_.pop_back();
    keys_.pop_back();
    return true;
  }
  bool StartArray() { return open(JsonValue::Kind::kArray); }
  bool EndArray(Size /*items*/) {
    stack_.pop_back();
    return true;
  }

  // The library stands before the number, also when it gives up on one that no double holds.
  bool refuse_number(std::string_view literal, bool is_whole) {
    return refuse(0, Reason::kJsonNumber, printable(literal, 40), "a whole number from 0 to 9007199254740991",
                  is_whole ? "write large values as \"0x...\" strings where the field allows it"
                           : "write it without sign, fraction or exponent");
  }

  JsonValue root;
  std::optional<Error> take_error() { return std::move(error_); }

 private:
  // `taken`, as below: bytes of what is refused that the library is past.
  bool refuse(std::size_t taken, Reason reason, std::string found, std::string expected, std::string next) {
    error_ = Error{reason,
                   file_,
                   line_and_column(text_, offset() - taken),
                   std::move(found),
                   std::move(expected),
                   std::move(next)};
    return false;
  }

  // The library pairs surrogates but lets a lone low one pass.
  bool is_sound(std::string_view decoded) {
    if (!has_unicode_escapes_ || is_utf8(decoded)) return true;
    return refuse(0, Reason::kJsonSyntax, "a lone surrogate", "JSON (RFC 8259) in UTF-8",
                  "correct the text at this place");
  }

  // Where the library is: at the first byte of a string, key or number, which it reads on a copy of the
  // stream, and behind what it has taken of anything else.
  std::size_t offset() const { return stream_.Tell(); }

  // `taken`: bytes of the value that the library is past.
  JsonValue* place(JsonValue::Kind kind, std::size_t taken) {
    JsonValue* target = nullptr;
    if (stack_.empty()) {
      target = &root;
    } else if (stack_.back()->kind == JsonValue::Kind::kArray) {
      target = &stack_.back()->items.emplace_back();
    } else {
      target = &stack_.back()->members.emplace_back(std::move(key_), JsonValue{}).second;
    }
    target->kind = kind;
    target->offset = offset() - taken;
    return target;
  }

  bool open(JsonValue::Kind kind) {
    if (stack_.size() >= static_cast<std::size_t>(kJsonDepthLimit)) {
      return refuse(1, Reason::kJsonDepth, "nesting deeper than " + std::to_string(kJsonDepthLimit),
                    "at most " + std::to_string(kJsonDepthLimit) + " levels", "do not use this file");
    }
    JsonValue* value = place(kind, 1);
    // Objects in a row are mostly alike, and this can at most double what the text asks for anyway.
    if (!stack_.empty() && stack_.back()->items.size() > 1) {
      const auto before = stack_.back()->items.end() - 2;
      value->members.reserve(before->members.size());
    }
    stack_.push_back(value);
    if (kind == JsonValue::Kind::kObject) keys_.emplace_back();
    return true;
  }

  std::string_view text_;
  const std::string& file_;
  rapidjson::InsituStringStream& stream_;
  const bool has_unicode_escapes_;
  std::vector<JsonValue*> stack_;
  std::vector<KeySet> keys_;
  std::string key_;
  std::optional<Error> error_;
};

Error syntax_error(std::string_view text, const std::string& file, std::size_t offset) {
  constexpr std::size_t kShown = 40;  // bytes
  const bool at_end = offset >= text.size();
  return {Reason::kJsonSyntax,
          file,
          line_and_column(text, offset),
          at_end ? "the text ends here"
                 : "\"" +
                       printable(text.substr(offset, std::max<std::size_t>(
                                                         1, text.substr(offset, kShown).find('\n'))),
                                 kShown) +
                       "\"",
          "JSON (RFC 8259) in UTF-8",
          at_end ? "the file is cut off: get it again" : "correct the text at this place"};
}

}  // namespace

const JsonValue* JsonValue::find(std::string_view key) const {
  for (const auto& [name, value] : members) {
    if (name == key) return &value;
  }
  return nullptr;
}

Result<JsonValue> parse_json(std::string_view text, const std::string& file) {
  if (text.starts_with("\xef\xbb\xbf")) {
    return fail({Reason::kJsonSyntax, file, "line 1, column 1", "a byte order mark",
                 "JSON in UTF-8 without one", "save the file without a byte order mark"});
  }
  if (!is_utf8(text)) {
    return fail({Reason::kJsonSyntax, file, "", "bytes that are not UTF-8", "JSON (RFC 8259) in UTF-8",
                 "save the file as UTF-8"});
  }
  // The library counts in 32 bits, and takes a NUL for the end of the text.
  const std::size_t end = std::min(text.find('\0'), text.size());
  if (end > std::numeric_limits<rapidjson::SizeType>::max()) {
    return fail({Reason::kJsonSyntax, file, "", grouped(end) + " bytes of text", "less than 4 GiB",
                 "do not use this file"});
  }
  std::string decoded(text.substr(0, end));
  rapidjson::InsituStringStream stream(decoded.data());
  TreeBuilder builder(text, file, stream);
  rapidjson::Reader reader;
  // By recursion, which ends where the builder refuses depth.
  constexpr unsigned kFlags = rapidjson::kParseInsituFlag | rapidjson::kParseNumbersAsStringsFlag;
  reader.Parse<kFlags>(stream, builder);
  if (reader.GetParseErrorCode() == rapidjson::kParseErrorNumberTooBig)
    builder.refuse_number(text.substr(reader.GetErrorOffset()), true);
  if (auto error = builder.take_error()) return fail(*std::move(error));
  if (reader.HasParseError() || end < text.size())
    return fail(syntax_error(text, file, reader.HasParseError() ? reader.GetErrorOffset() : end));
  return std::move(builder.root);
}

std::string line_and_column(std::string_view text, std::size_t offset) {
  offset = std::min(offset, text.size());
  const auto before = text.substr(0, offset);
  const auto line = 1 + std::count(before.begin(), before.end(), '\n');
  const std::size_t newline = before.rfind('\n');
  const std::size_t column = newline == std::string_view::npos ? offset + 1 : offset - newline;
  return "line " + std::to_string(line) + ", column " + std::to_string(column);
}

void append_canonical_string(std::string& out, std::string_view text) {
  constexpr char kHex[] = "0123456789abcdef";
  const auto stands_raw = [](char c) {
    return static_cast<unsigned char>(c) >= 0x20 && c != '"' && c != '\\';
  };
  out.push_back('"');
  while (!text.empty()) {
    const auto escaped = std::find_if_not(text.begin(), text.end(), stands_raw);
    out.append(text.begin(), escaped);
    if (escaped == text.end()) break;
    const char c = *escaped;
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
    text.remove_prefix(static_cast<std::size_t>(escaped - text.begin()) + 1);
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

}  // namespace calseal
