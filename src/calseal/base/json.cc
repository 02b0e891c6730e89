// The only file that touches the JSON library's reader; its exceptions end here.
#include "calseal/base/json.h"

#include <algorithm>
#include <iterator>
#include <nlohmann/json.hpp>
#include <optional>
#include <unordered_set>

#include "calseal/base/text.h"

namespace calseal {
namespace {

// Forward iterator that tells how many bytes the parser has taken.
class CountingIterator {
 public:
  using iterator_category = std::forward_iterator_tag;
  using value_type = char;
  using difference_type = std::ptrdiff_t;
  using pointer = const char*;
  using reference = const char&;

  CountingIterator() = default;
  CountingIterator(const char* at, std::size_t* taken) : at_(at), taken_(taken) {}
  reference operator*() const { return *at_; }
  CountingIterator& operator++() {
    ++at_;
    ++*taken_;
    return *this;
  }
  CountingIterator operator++(int) {
    CountingIterator old = *this;
    ++*this;
    return old;
  }
  friend bool operator==(const CountingIterator& a, const CountingIterator& b) { return a.at_ == b.at_; }

 private:
  const char* at_ = nullptr;
  std::size_t* taken_ = nullptr;
};

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

// Builds the tree, and stops at the first thing that strict JSON does not have.
class TreeBuilder final : public nlohmann::json_sax<nlohmann::json> {
 public:
  TreeBuilder(std::string_view text, const std::string& file, const std::size_t& taken)
      : text_(text), file_(file), taken_(taken) {}

  bool null() override {
    return refuse(Reason::kJsonType, "null", "a value", "leave the key out, or give a value");
  }
  bool boolean(bool value) override {
    JsonValue* v = place(JsonValue::Kind::kBoolean);
    if (v != nullptr) v->boolean = value;
    return v != nullptr;
  }
  bool number_integer(number_integer_t value) override {
    return refuse(Reason::kJsonNumber, std::to_string(value), "a whole number from 0 to 9007199254740991",
                  "correct the number");
  }
  bool number_unsigned(number_unsigned_t value) override {
    if (value > kJsonIntegerLimit) {
      return refuse(Reason::kJsonNumber, std::to_string(value), "a whole number from 0 to 9007199254740991",
                    "write large values as \"0x...\" strings where the field allows it");
    }
    JsonValue* v = place(JsonValue::Kind::kInteger);
    if (v != nullptr) v->integer = value;
    return v != nullptr;
  }
  bool number_float(number_float_t /*value*/, const string_t& literal) override {
    return refuse(Reason::kJsonNumber, printable(literal, 40), "a whole number from 0 to 9007199254740991",
                  "write it without fraction or exponent");
  }
  bool string(string_t& value) override {
    JsonValue* v = place(JsonValue::Kind::kString);
    if (v != nullptr) v->text = std::move(value);
    return v != nullptr;
  }
  bool binary(binary_t& /*value*/) override { return false; }

  bool start_object(std::size_t /*elements*/) override { return open(JsonValue::Kind::kObject); }
  bool end_object() override {
    stack_.pop_back();
    keys_.pop_back();
    return true;
  }
  bool start_array(std::size_t /*elements*/) override { return open(JsonValue::Kind::kArray); }
  bool end_array() override {
    stack_.pop_back();
    return true;
  }
  bool key(string_t& value) override {
    if (!keys_.back().insert(value, stack_.back()->members)) {
      return refuse(Reason::kJsonRepeatedKey, "\"" + printable(value, 60) + "\" again", "each key once",
                    "remove one of the two");
    }
    key_ = std::move(value);
    return true;
  }
  bool parse_error(std::size_t position, const std::string& token,
                   const nlohmann::json::exception& fault) override {
    constexpr int kNumberOverflow = 406;  // of the library: more digits than a double can tell
    if (fault.id == kNumberOverflow) {
      return refuse(Reason::kJsonNumber, printable(token, 40), "a whole number from 0 to 9007199254740991",
                    "correct the number");
    }
    const std::size_t offset = position == 0 ? 0 : std::min(position - 1, text_.size());
    const bool at_end = offset >= text_.size();
    error_ = Error{Reason::kJsonSyntax,
                   file_,
                   line_and_column(text_, offset),
                   at_end ? "the text ends here" : "\"" + printable(token, 40) + "\"",
                   "JSON (RFC 8259) in UTF-8",
                   at_end ? "the file is cut off: get it again" : "correct the text at this place"};
    return false;
  }

  JsonValue root;
  std::optional<Error> take_error() { return std::move(error_); }

 private:
  bool refuse(Reason reason, std::string found, std::string expected, std::string next) {
    error_ =
        Error{reason,         file_, line_and_column(text_, offset()), std::move(found), std::move(expected),
              std::move(next)};
    return false;
  }

  std::size_t offset() const { return taken_ == 0 ? 0 : taken_ - 1; }

  JsonValue* place(JsonValue::Kind kind) {
    JsonValue* target = nullptr;
    if (stack_.empty()) {
      target = &root;
    } else if (stack_.back()->kind == JsonValue::Kind::kArray) {
      target = &stack_.back()->items.emplace_back();
    } else {
      target = &stack_.back()->members.emplace_back(std::move(key_), JsonValue{}).second;
    }
    target->kind = kind;
    // The lexer has to look one byte past a number to see its end.
    target->offset = offset() - (kind == JsonValue::Kind::kInteger && offset() > 0 ? 1U : 0U);
    return target;
  }

  bool open(JsonValue::Kind kind) {
    if (stack_.size() >= static_cast<std::size_t>(kJsonDepthLimit)) {
      return refuse(Reason::kJsonDepth, "nesting deeper than " + std::to_string(kJsonDepthLimit),
                    "at most " + std::to_string(kJsonDepthLimit) + " levels", "do not use this file");
    }
    JsonValue* value = place(kind);
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
  const std::size_t& taken_;
  std::vector<JsonValue*> stack_;
  std::vector<KeySet> keys_;
  std::string key_;
  std::optional<Error> error_;
};

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
  std::size_t taken = 0;
  TreeBuilder builder(text, file, taken);
  const char* const end = text.data() + text.size();
  bool parsed = false;
  try {
    parsed = nlohmann::json::sax_parse(CountingIterator(text.data(), &taken), CountingIterator(end, &taken),
                                       &builder);
  } catch (const nlohmann::json::exception&) {
    parsed = false;
  }
  if (auto error = builder.take_error()) return fail(*std::move(error));
  if (!parsed) {
    return fail({Reason::kJsonSyntax, file, "", "text that the parser gave up on", "JSON (RFC 8259) in UTF-8",
                 "correct the text"});
  }
  // The library takes a NUL for the end of the text, and lets pass what follows.
  if (const std::size_t nul = text.find('\0'); nul != std::string_view::npos) {
    return fail({Reason::kJsonSyntax, file, line_and_column(text, nul), "a NUL byte",
                 "JSON (RFC 8259) in UTF-8", "correct the text at this place"});
  }
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
