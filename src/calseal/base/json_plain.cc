#include "calseal/base/json_plain.h"

#include <algorithm>
#include <cstring>
#include <unordered_set>

namespace calseal {
namespace {

bool stands_raw(char c) { return static_cast<unsigned char>(c) >= 0x20 && c != '"' && c != '\\'; }

bool is_digit(char c) { return c >= '0' && c <= '9'; }

// The keys of one object: looked through while they are few, a hash set when an object has many.
class Keys {
 public:
  // False when the last member's key is there already.
  bool last_is_new(const std::vector<JsonMember>& members) {
    constexpr std::size_t kFew = 16;
    const std::string& key = members.back().first;
    if (members.size() <= kFew) {
      return std::none_of(members.begin(), members.end() - 1,
                          [&](const JsonMember& member) { return member.first == key; });
    }
    if (many_.empty()) {
      for (const JsonMember& member : members) many_.insert(member.first);
      return many_.size() == members.size();
    }
    return many_.insert(key).second;
  }

 private:
  std::unordered_set<std::string> many_;
};

// Recursive descent, no deeper than kJsonDepthLimit; every step says whether the text is still plain.
class PlainReader {
 public:
  explicit PlainReader(std::string_view text)
      : begin_(text.data()), at_(begin_), end_(begin_ + text.size()) {}

  bool read_all(JsonValue& root) {
    skip_space();
    if (at_ == end_ || (*at_ != '{' && *at_ != '[')) return false;
    if (!read_value(root, 1)) return false;
    skip_space();
    return at_ == end_;
  }

 private:
  void skip_space() {
    while (at_ != end_ && (*at_ == ' ' || *at_ == '\n' || *at_ == '\t' || *at_ == '\r')) ++at_;
  }

  bool take(char c) {
    if (at_ == end_ || *at_ != c) return false;
    ++at_;
    return true;
  }

  std::size_t last_offset() const { return static_cast<std::size_t>(at_ - begin_) - 1; }

  bool read_value(JsonValue& value, int depth) {
    if (at_ == end_) return false;
    switch (*at_) {
      case '"':
        value.kind = JsonValue::Kind::kString;
        if (!read_string(value.text)) return false;
        break;
      case '{':
        return depth <= kJsonDepthLimit && read_object(value, depth);
      case '[':
        return depth <= kJsonDepthLimit && read_array(value, depth);
      case 't':
        return read_word("true", value);
      case 'f':
        return read_word("false", value);
      default:
        value.kind = JsonValue::Kind::kInteger;
        if (!read_integer(value.integer)) return false;
    }
    value.offset = last_offset();
    return true;
  }

  bool read_word(std::string_view word, JsonValue& value) {
    if (!std::string_view(at_, static_cast<std::size_t>(end_ - at_)).starts_with(word)) return false;
    at_ += word.size();
    value.kind = JsonValue::Kind::kBoolean;
    value.boolean = word.front() == 't';
    value.offset = last_offset();
    return true;
  }

  bool read_integer(std::uint64_t& integer) {
    constexpr std::ptrdiff_t kMostDigits = 16;
    const char* const first = at_;
    while (at_ != end_ && is_digit(*at_) && at_ - first <= kMostDigits) {
      integer = integer * 10 + static_cast<std::uint64_t>(*at_ - '0');
      ++at_;
    }
    const std::ptrdiff_t digits = at_ - first;
    return digits >= 1 && digits <= kMostDigits && integer <= kJsonIntegerLimit &&
           (*first != '0' || digits == 1);
  }

  bool read_string(std::string& text) {
    ++at_;
    for (;;) {
      const char* const stop = find_escaped(at_, end_);
      text.append(at_, stop);
      at_ = stop;
      if (at_ == end_) return false;
      const char c = *at_++;
      if (c == '"') return true;
      if (c != '\\' || at_ == end_) return false;
      constexpr std::string_view kEscapes = "\"\\/bfnrt", kMeanings = "\"\\/\b\f\n\r\t";
      const std::size_t index = kEscapes.find(*at_++);
      if (index == std::string_view::npos) return false;
      text.push_back(kMeanings[index]);
    }
  }

  bool read_array(JsonValue& value, int depth) {
    value.kind = JsonValue::Kind::kArray;
    value.offset = static_cast<std::size_t>(at_++ - begin_);
    skip_space();
    if (take(']')) return true;
    for (;;) {
      JsonValue& item = value.items.emplace_back();
      // Objects in a row are mostly alike, and this can at most double what the text asks for anyway.
      if (value.items.size() > 1) item.members.reserve(value.items[value.items.size() - 2].members.size());
      if (!read_value(item, depth + 1)) return false;
      skip_space();
      if (take(']')) return true;
      if (!take(',')) return false;
      skip_space();
    }
  }

  bool read_object(JsonValue& value, int depth) {
    value.kind = JsonValue::Kind::kObject;
    value.offset = static_cast<std::size_t>(at_++ - begin_);
    skip_space();
    if (take('}')) return true;
    Keys keys;
    for (;;) {
      if (at_ == end_ || *at_ != '"') return false;
      JsonMember& member = value.members.emplace_back(std::string(), JsonValue{});
      if (!read_string(member.first) || !keys.last_is_new(value.members)) return false;
      skip_space();
      if (!take(':')) return false;
      skip_space();
      if (!read_value(member.second, depth + 1)) return false;
      skip_space();
      if (take('}')) return true;
      if (!take(',')) return false;
      skip_space();
    }
  }

  const char* begin_;
  const char* at_;
  const char* end_;
};

}  // namespace

std::optional<JsonValue> parse_plain_json(std::string_view text) {
  std::optional<JsonValue> root(std::in_place);
  if (!PlainReader(text).read_all(*root)) root.reset();
  return root;
}

const char* find_escaped(const char* at, const char* end) {
  // Eight bytes in one look; a carry can only cry wolf, and the bytes are looked at one by one then.
  constexpr std::uint64_t kOnes = 0x0101010101010101, kHighs = 0x8080808080808080;
  const auto has_zero = [](std::uint64_t word) { return (word - kOnes) & ~word & kHighs; };
  while (end - at >= 8) {
    std::uint64_t word = 0;
    std::memcpy(&word, at, sizeof(word));
    const std::uint64_t below_space = (word - kOnes * 0x20) & ~word & kHighs;
    if ((below_space | has_zero(word ^ (kOnes * '"')) | has_zero(word ^ (kOnes * '\\'))) != 0) {
      for (int i = 0; i < 8; ++i) {
        if (!stands_raw(at[i])) return at + i;
      }
    }
    at += 8;
  }
  while (at != end && stands_raw(*at)) ++at;
  return at;
}

}  // namespace calseal
