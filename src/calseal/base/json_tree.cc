// The only file that touches the JSON library's reader.
#include "calseal/base/json_tree.h"

#include <rapidjson/reader.h>

#include <algorithm>
#include <cstring>
#include <limits>
#include <optional>
#include <span>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {

// Puts values into a tree as they come.
class JsonTreeBuilder {
 public:
  using Index = JsonTree::Index;

  explicit JsonTreeBuilder(JsonTree& tree, std::size_t text_size) : tree_(tree) {
    constexpr std::size_t kUsual = 16;  // bytes of text for each value
    tree_.values_.reserve(text_size / kUsual + 1);
  }

  void key(std::string_view decoded) { key_ = piece(decoded); }
  void string(std::string_view decoded, std::size_t offset) {
    place(JsonKind::kString, offset, piece(decoded));
  }
  void scalar(JsonKind kind, std::uint64_t content, std::size_t offset) { place(kind, offset, content); }
  void open(JsonKind kind, std::size_t offset) { open_.push_back(place(kind, offset, 0)); }
  void close() {
    tree_.values_[open_.back()].end = static_cast<Index>(tree_.values_.size());
    open_.pop_back();
  }

 private:
  JsonTree::Piece piece(std::string_view decoded) const {
    return static_cast<JsonTree::Piece>(decoded.data() - tree_.decoded_.get()) << 32 | decoded.size();
  }

  Index place(JsonKind kind, std::size_t offset, std::uint64_t content) {
    const auto index = static_cast<Index>(tree_.values_.size());
    if (!open_.empty()) ++tree_.values_[open_.back()].count;
    tree_.values_.push_back({key_, content, static_cast<std::uint32_t>(offset), index + 1, 0, kind});
    key_ = 0;
    return index;
  }

  JsonTree& tree_;
  std::vector<Index> open_;  // arrays and objects that are not closed yet
  JsonTree::Piece key_ = 0;  // of the value that comes next
};

// The same for a tree that holds one item of a list at a time; see JsonTree::parse_list().
class JsonListBuilder {
 public:
  using Index = JsonTree::Index;

  JsonListBuilder(JsonTree& tree, const JsonTree::List& list) : tree_(tree), builder_(tree, 0), list_(list) {}

  void key(std::string_view decoded) {
    if (skipped_ > 0) return;
    is_list_ = open_.size() == 1 && decoded == list_.key;
    if (std::ranges::find(list_.names, decoded) == list_.names.end()) {
      is_left_out_ = open_.back().has_other;
      open_.back().has_other = true;
    }
    if (!is_left_out_) builder_.key(decoded);
  }
  void string(std::string_view decoded, std::size_t offset) {
    take([&] { builder_.string(decoded, offset); });
  }
  void scalar(JsonKind kind, std::uint64_t content, std::size_t offset) {
    take([&] { builder_.scalar(kind, content, offset); });
  }

  void open(JsonKind kind, std::size_t offset) {
    if (skipped_ > 0) {
      ++skipped_;
      return;
    }
    const bool is_top = open_.empty() && kind == JsonKind::kObject;
    const bool is_list = std::exchange(is_list_, false) && kind == JsonKind::kArray;
    const bool is_item = in_list() && kind == JsonKind::kObject;
    if (!is_top && !is_list && !is_item) {
      if (!std::exchange(is_left_out_, false)) {
        builder_.open(kind, offset);
        builder_.close();
      }
      skipped_ = 1;
      return;
    }
    builder_.open(kind, offset);
    const auto index = static_cast<Index>(tree_.values_.size() - 1);
    open_.push_back({index, false});
    // Until it is closed, everything that follows is within it.
    tree_.values_[index].end = std::numeric_limits<Index>::max();
    if (is_list) tree_.list_ = index;
  }

  void close() {
    if (skipped_ > 0) {
      if (--skipped_ == 0) end_item();
      return;
    }
    builder_.close();
    open_.pop_back();
    end_item();
  }

 private:
  struct Open {
    Index index = 0;
    bool has_other = false;  // a key that is not among the names
  };

  bool in_list() const { return open_.size() == 2; }

  template <typename Place>
  void take(Place place) {
    if (skipped_ > 0) return;
    is_list_ = false;
    if (!std::exchange(is_left_out_, false)) place();
    end_item();
  }

  // Hands over the item of the list that has just ended, if one has.
  void end_item() {
    if (!in_list()) return;
    const Index item = JsonTree::first(open_.back().index);
    list_.take(tree_, item);
    tree_.values_.resize(item);
    ++tree_.dropped_;
  }

  JsonTree& tree_;
  JsonTreeBuilder builder_;
  const JsonTree::List& list_;
  std::vector<Open> open_;    // the text's object, the list, an item
  std::size_t skipped_ = 0;   // arrays and objects open of which nothing is held
  bool is_list_ = false;      // the value that comes next
  bool is_left_out_ = false;  // the same
};

namespace {

// Hands values to a builder, and stops at the first thing that strict JSON does not have. The library decodes
// strings in place, in a copy of the text, and says how far it has read.
template <typename Builder>
class StrictReader {
 public:
  using Size = rapidjson::SizeType;

  StrictReader(std::string_view text, const std::string& file, const char* decoded, Builder& builder,
               rapidjson::InsituStringStream& stream)
      : text_(text),
        file_(file),
        decoded_(decoded),
        builder_(builder),
        stream_(stream),
        has_unicode_escapes_(text.find("\\u") != text.npos) {}

  bool Null() {
    return refuse(offset() - 4, Reason::kJsonType, "null", "a value", "leave the key out, or give a value");
  }
  bool Bool(bool value) {
    builder_.scalar(JsonKind::kBoolean, value ? 1 : 0, offset() - (value ? 4 : 5));
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
    builder_.scalar(JsonKind::kInteger, value, offset());
    return true;
  }

  bool String(const char* decoded, Size length, bool /*copy*/) {
    if (!is_sound({decoded, length})) return false;
    builder_.string({decoded, length}, offset());
    return true;
  }

  bool StartObject() { return open(JsonKind::kObject); }
  bool Key(const char* decoded, Size length, bool /*copy*/) {
    const std::string_view key(decoded, length);
    if (!is_sound(key)) return false;
    keys_.push_back(key_of(key));
    if (keys_.size() - open_.back() <= kFew && is_repeated(keys_.back()))
      return refuse_repeated(keys_.back());
    builder_.key(key);
    return true;
  }
  bool EndObject(Size /*members*/) {
    const std::size_t first = open_.back();
    if (keys_.size() - first > kFew) {
      if (const auto repeated = first_repeated(first, keys_.size())) return refuse_repeated(*repeated);
    }
    keys_.resize(first);
    return close();
  }
  bool StartArray() { return open(JsonKind::kArray); }
  bool EndArray(Size /*items*/) { return close(); }

  // The library stands before the number, also when it gives up on one that no double holds.
  bool refuse_number(std::string_view literal, bool is_whole) {
    return refuse(offset(), Reason::kJsonNumber, printable(literal, 40),
                  "a whole number from 0 to 9007199254740991",
                  is_whole ? "write large values as \"0x...\" strings where the field allows it"
                           : "write it without sign, fraction or exponent");
  }

  // The first fault of a text whose reading was given up: objects that are still open may hold a key twice,
  // which came before. To be asked once, last.
  std::optional<Error> take_error() {
    std::optional<Key64> earliest;
    for (std::size_t i = 0; i < open_.size(); ++i) {
      const std::size_t end = i + 1 < open_.size() ? open_[i + 1] : keys_.size();
      if (end - open_[i] <= kFew) continue;
      const auto repeated = first_repeated(open_[i], end);
      if (repeated && (!earliest || *repeated < *earliest)) earliest = repeated;
    }
    if (earliest) refuse_repeated(*earliest);
    return std::move(error_);
  }

 private:
  // Where a key is in the decoded text, both in 32 bits: begin above, size below. So they ascend as they
  // come.
  using Key64 = std::uint64_t;
  static constexpr std::size_t kFew =
      16;  // keys of an object that are compared as they come; of more, when all are there

  Key64 key_of(std::string_view key) const {
    return static_cast<Key64>(key.data() - decoded_) << 32 | key.size();
  }
  std::string_view text_of_key(Key64 key) const {
    return {decoded_ + (key >> 32), static_cast<std::size_t>(key & 0xffffffff)};
  }

  // Whether a key of the innermost object came before its last one.
  bool is_repeated(Key64 last) const {
    return std::any_of(keys_.begin() + static_cast<std::ptrdiff_t>(open_.back()), keys_.end() - 1,
                       [&](Key64 key) { return text_of_key(key) == text_of_key(last); });
  }

  // The first key of one object that repeats an earlier one. Their order is lost.
  std::optional<Key64> first_repeated(std::size_t first, std::size_t end) {
    const auto keys = std::span(keys_).subspan(first, end - first);
    std::ranges::sort(keys, [&](Key64 a, Key64 b) {
      const int order = text_of_key(a).compare(text_of_key(b));
      return order != 0 ? order < 0 : a < b;
    });
    std::optional<Key64> earliest;
    for (std::size_t i = 1; i < keys.size(); ++i) {
      if (text_of_key(keys[i]) != text_of_key(keys[i - 1])) continue;
      if (!earliest || keys[i] < *earliest) earliest = keys[i];
    }
    return earliest;
  }

  bool refuse(std::size_t offset, Reason reason, std::string found, std::string expected, std::string next) {
    error_ =
        Error{reason,         file_, line_and_column(text_, offset), std::move(found), std::move(expected),
              std::move(next)};
    return false;
  }

  // A string is decoded where it stands, so its quote is the byte before.
  bool refuse_repeated(Key64 key) {
    return refuse(static_cast<std::size_t>(key >> 32) - 1, Reason::kJsonRepeatedKey,
                  "\"" + printable(text_of_key(key), 60) + "\" again", "each key once",
                  "remove one of the two");
  }

  // The library pairs surrogates but lets a lone low one pass.
  bool is_sound(std::string_view decoded) {
    if (!has_unicode_escapes_ || is_utf8(decoded)) return true;
    return refuse(offset(), Reason::kJsonSyntax, "a lone surrogate", "JSON (RFC 8259) in UTF-8",
                  "correct the text at this place");
  }

  // Where the library is: at the first byte of a string, key or number, which it reads on a copy of the
  // stream, and behind what it has taken of anything else.
  std::size_t offset() const { return stream_.Tell(); }

  bool open(JsonKind kind) {
    if (open_.size() >= static_cast<std::size_t>(kJsonDepthLimit)) {
      return refuse(offset() - 1, Reason::kJsonDepth,
                    "nesting deeper than " + std::to_string(kJsonDepthLimit),
                    "at most " + std::to_string(kJsonDepthLimit) + " levels", "do not use this file");
    }
    open_.push_back(keys_.size());
    builder_.open(kind, offset() - 1);
    return true;
  }

  bool close() {
    open_.pop_back();
    builder_.close();
    return true;
  }

  std::string_view text_;
  const std::string& file_;
  const char* decoded_;
  Builder& builder_;
  rapidjson::InsituStringStream& stream_;
  const bool has_unicode_escapes_;
  std::vector<std::size_t> open_;  // arrays and objects that are not closed yet: where their keys begin
  std::vector<Key64> keys_;        // of the objects that are not closed yet
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

// What is wrong with a text before it is read.
Status check_text(std::string_view text, const std::string& file) {
  if (text.starts_with("\xef\xbb\xbf")) {
    return fail({Reason::kJsonSyntax, file, "line 1, column 1", "a byte order mark",
                 "JSON in UTF-8 without one", "save the file without a byte order mark"});
  }
  if (!is_utf8(text)) {
    return fail({Reason::kJsonSyntax, file, "", "bytes that are not UTF-8", "JSON (RFC 8259) in UTF-8",
                 "save the file as UTF-8"});
  }
  if (text.size() > std::numeric_limits<rapidjson::SizeType>::max()) {  // the library counts in 32 bits
    return fail({Reason::kJsonSyntax, file, "", grouped(text.size()) + " bytes of text", "less than 4 GiB",
                 "do not use this file"});
  }
  return {};
}

// A copy to be decoded in place. The library takes a NUL for the end of the text.
std::unique_ptr<char[]> copy_to_decode(std::string_view text) {
  auto copy = std::make_unique_for_overwrite<char[]>(text.size() + 1);
  std::memcpy(copy.get(), text.data(), text.size());
  copy[text.size()] = '\0';
  return copy;
}

template <typename Builder>
Status read_strictly(std::string_view text, const std::string& file, char* decoded, Builder& builder) {
  const std::size_t end = std::min(text.find('\0'), text.size());
  rapidjson::InsituStringStream stream(decoded);
  StrictReader strict(text, file, decoded, builder, stream);
  rapidjson::Reader reader;
  // By recursion, which ends where the reader refuses depth.
  constexpr unsigned kFlags = rapidjson::kParseInsituFlag | rapidjson::kParseNumbersAsStringsFlag;
  reader.Parse<kFlags>(stream, strict);
  if (reader.GetParseErrorCode() == rapidjson::kParseErrorNumberTooBig)
    strict.refuse_number(text.substr(reader.GetErrorOffset()), true);
  if (auto error = strict.take_error()) return fail(*std::move(error));
  if (reader.HasParseError() || end < text.size())
    return fail(syntax_error(text, file, reader.HasParseError() ? reader.GetErrorOffset() : end));
  return {};
}

}  // namespace

Result<JsonTree> JsonTree::parse(std::string_view text, const std::string& file) {
  CALSEAL_CHECK(check_text(text, file));
  JsonTree tree;
  tree.decoded_ = copy_to_decode(text);
  JsonTreeBuilder builder(tree, text.size());
  CALSEAL_CHECK(read_strictly(text, file, tree.decoded_.get(), builder));
  return tree;
}

Result<JsonTree> JsonTree::parse_list(std::string_view text, const std::string& file, const List& list) {
  CALSEAL_CHECK(check_text(text, file));
  JsonTree tree;
  tree.decoded_ = copy_to_decode(text);
  JsonListBuilder builder(tree, list);
  CALSEAL_CHECK(read_strictly(text, file, tree.decoded_.get(), builder));
  return tree;
}

JsonValue JsonTree::copy(Index value) const {
  JsonValue out;
  out.kind = kind(value);
  out.offset = offset(value);
  switch (out.kind) {
    case JsonKind::kString:
      out.text = text(value);
      break;
    case JsonKind::kInteger:
      out.integer = integer(value);
      break;
    case JsonKind::kBoolean:
      out.boolean = boolean(value);
      break;
    case JsonKind::kArray:
      out.items.reserve(count(value));
      for (Index item = first(value); item < next(value); item = next(item)) out.items.push_back(copy(item));
      break;
    case JsonKind::kObject:
      out.members.reserve(count(value));
      for (Index member = first(value); member < next(value); member = next(member))
        out.members.emplace_back(std::string(key(member)), copy(member));
      break;
  }
  return out;
}

}  // namespace calseal
