// The only file that touches the JSON library.
#include "calseal/base/json_tree.h"

#include <algorithm>
#include <cstring>
#include <limits>
#include <nlohmann/json.hpp>
#include <optional>
#include <span>
#include <utility>

#include "calseal/base/text.h"

namespace calseal {

// Puts values into a tree as they come.
class JsonTreeBuilder {
 public:
  using Index = JsonTree::Index;

  JsonTreeBuilder(JsonTree& tree, std::size_t usual_values) : tree_(tree) {
    tree_.values_.reserve(usual_values);
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

// Tells how many bytes of the text the library has taken.
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

// Hands values to a builder, and stops at the first thing that strict JSON does not have. The library tells
// no places, so the reader follows: between two tokens stand white space and one comma or colon, no more.
template <typename Builder>
class StrictReader {
 public:
  using Json = nlohmann::json;

  // `decoded`: room for as many bytes as the text has.
  StrictReader(std::string_view text, const std::string& file, char* decoded, Builder& builder)
      : text_(text), file_(file), decoded_(decoded), builder_(builder) {}

  Status read() {
    const CountingIterator begin(text_.data(), &taken_), end(text_.data() + text_.size(), &taken_);
    const bool read = Json::sax_parse(begin, end, this);
    if (auto error = take_error()) return fail(*std::move(error));
    // The library takes a NUL for the end of the text.
    const std::size_t nul = text_.find('\0');
    if (!read || nul != text_.npos) return fail(syntax_error(text_, file_, std::min(nul, text_.size())));
    return {};
  }

  // What the library calls, in the order of the text.
  bool null() {
    return refuse(begin_token(), Reason::kJsonType, "null", "a value", "leave the key out, or give a value");
  }
  bool boolean(bool value) {
    const std::size_t at = begin_token();
    builder_.scalar(JsonKind::kBoolean, value ? 1 : 0, at);
    return end_token(at + (value ? 4 : 5));
  }
  bool number_unsigned(std::uint64_t value) {
    if (value > kJsonIntegerLimit) return refuse_number();
    const std::size_t at = begin_token();
    builder_.scalar(JsonKind::kInteger, value, at);
    return end_token(at + number_at(at).size());
  }
  bool number_integer(std::int64_t /*value*/) { return refuse_number(); }  // has a sign
  bool number_float(double /*value*/, const std::string& /*literal*/) { return refuse_number(); }
  bool string(const std::string& value) {
    builder_.string(keep(value), begin_token());
    return end_token(taken_);
  }
  bool binary(const Json::binary_t& /*value*/) { return false; }  // JSON has none

  bool start_object(std::size_t /*members*/) { return open(JsonKind::kObject); }
  bool key(const std::string& value) {
    const std::string_view key = keep(value);
    keys_.push_back({static_cast<std::uint32_t>(begin_token()),
                     static_cast<std::uint32_t>(key.data() - decoded_),
                     static_cast<std::uint32_t>(key.size())});
    if (keys_.size() - open_.back() <= kFew && is_repeated(keys_.back()))
      return refuse_repeated(keys_.back());
    builder_.key(key);
    return end_token(taken_);
  }
  bool end_object() {
    const std::size_t first = open_.back();
    if (keys_.size() - first > kFew) {
      if (const auto repeated = first_repeated(first, keys_.size())) return refuse_repeated(*repeated);
    }
    keys_.resize(first);
    return close();
  }
  bool start_array(std::size_t /*items*/) { return open(JsonKind::kArray); }
  bool end_array() { return close(); }

  bool parse_error(std::size_t taken, const std::string& /*token*/, const Json::exception& fault) {
    constexpr int kOutOfDouble = 406;  // a number; JSON for Modern C++ 3.11, "Exceptions"
    if (fault.id == kOutOfDouble) return refuse_number();
    const std::size_t last = taken == 0 ? 0 : taken - 1;  // the byte that did not fit
    error_ = syntax_error(text_, file_, last < text_.size() ? place_of_fault(last) : last);
    return false;
  }

 private:
  // A key of an object that is not closed yet, all in bytes: where it is in the text, and what it is.
  struct Key {
    std::uint32_t offset = 0;
    std::uint32_t begin = 0;  // in the decoded text
    std::uint32_t size = 0;
  };
  static constexpr std::size_t kFew =
      16;  // keys of an object that are compared as they come; of more, when all are there

  // Where the token that the library has just read begins.
  std::size_t begin_token() const {
    return std::min(text_.find_first_not_of(" \t\n\r,:", token_end_), text_.size());
  }
  // The byte within a string, else the token that it ends.
  std::size_t place_of_fault(std::size_t last) const {
    const std::size_t begin = std::min(begin_token(), last);
    return text_[begin] == '"' && text_[last] != '"' ? last : begin;
  }
  bool end_token(std::size_t end) {
    token_end_ = end;
    return true;
  }

  std::string_view number_at(std::size_t offset) const {
    const std::size_t end = text_.find_first_not_of("+-.0123456789eE", offset);
    return text_.substr(offset, end - offset);
  }

  // Lays a decoded string behind those before it. None is longer than its text.
  std::string_view keep(const std::string& value) {
    char* const at = decoded_ + decoded_size_;
    std::ranges::copy(value, at);
    decoded_size_ += value.size();
    return {at, value.size()};
  }
  std::string_view text_of(const Key& key) const { return {decoded_ + key.begin, key.size}; }

  // Whether a key of the innermost object came before its last one.
  bool is_repeated(const Key& last) const {
    return std::any_of(keys_.begin() + static_cast<std::ptrdiff_t>(open_.back()), keys_.end() - 1,
                       [&](const Key& key) { return text_of(key) == text_of(last); });
  }

  // The first key of one object that repeats an earlier one. Their order is lost.
  std::optional<Key> first_repeated(std::size_t first, std::size_t end) {
    const auto keys = std::span(keys_).subspan(first, end - first);
    std::ranges::sort(keys, [&](const Key& a, const Key& b) {
      const int order = text_of(a).compare(text_of(b));
      return order != 0 ? order < 0 : a.offset < b.offset;
    });
    std::optional<Key> earliest;
    for (std::size_t i = 1; i < keys.size(); ++i) {
      if (text_of(keys[i]) != text_of(keys[i - 1])) continue;
      if (!earliest || keys[i].offset < earliest->offset) earliest = keys[i];
    }
    return earliest;
  }

  // The first fault of a text whose reading was given up: objects that are still open may hold a key twice,
  // which came before. To be asked once, last.
  std::optional<Error> take_error() {
    std::optional<Key> earliest;
    for (std::size_t i = 0; i < open_.size(); ++i) {
      const std::size_t end = i + 1 < open_.size() ? open_[i + 1] : keys_.size();
      if (end - open_[i] <= kFew) continue;
      const auto repeated = first_repeated(open_[i], end);
      if (repeated && (!earliest || repeated->offset < earliest->offset)) earliest = repeated;
    }
    if (earliest) refuse_repeated(*earliest);
    return std::move(error_);
  }

  bool refuse(std::size_t offset, Reason reason, std::string found, std::string expected, std::string next) {
    error_ =
        Error{reason,         file_, line_and_column(text_, offset), std::move(found), std::move(expected),
              std::move(next)};
    return false;
  }

  bool refuse_repeated(const Key& key) {
    return refuse(key.offset, Reason::kJsonRepeatedKey, "\"" + printable(text_of(key), 60) + "\" again",
                  "each key once", "remove one of the two");
  }

  // A number of RFC 8259 that is not one of ours.
  bool refuse_number() {
    const std::size_t at = begin_token();
    const std::string_view literal = number_at(at);
    const bool is_whole = literal.find_first_not_of("0123456789") == literal.npos;
    return refuse(at, Reason::kJsonNumber, printable(literal, 40),
                  "a whole number from 0 to 9007199254740991",
                  is_whole ? "write large values as \"0x...\" strings where the field allows it"
                           : "write it without sign, fraction or exponent");
  }

  bool open(JsonKind kind) {
    const std::size_t at = begin_token();
    if (open_.size() >= static_cast<std::size_t>(kJsonDepthLimit)) {
      return refuse(at, Reason::kJsonDepth, "nesting deeper than " + std::to_string(kJsonDepthLimit),
                    "at most " + std::to_string(kJsonDepthLimit) + " levels", "do not use this file");
    }
    open_.push_back(keys_.size());
    builder_.open(kind, at);
    return end_token(at + 1);
  }

  bool close() {
    open_.pop_back();
    builder_.close();
    return end_token(begin_token() + 1);
  }

  std::string_view text_;
  const std::string& file_;
  char* decoded_;
  std::size_t decoded_size_ = 0;
  Builder& builder_;
  std::size_t taken_ = 0;          // by the library; behind a string's last quote when it hands one over
  std::size_t token_end_ = 0;      // of the last token handed over
  std::vector<std::size_t> open_;  // arrays and objects that are not closed yet: where their keys begin
  std::vector<Key> keys_;          // of the objects that are not closed yet
  std::optional<Error> error_;
};

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
  if (text.size() > std::numeric_limits<std::uint32_t>::max()) {  // trees count in 32 bits
    return fail({Reason::kJsonSyntax, file, "", grouped(text.size()) + " bytes of text", "less than 4 GiB",
                 "do not use this file"});
  }
  return {};
}

}  // namespace

Result<JsonTree> JsonTree::parse(std::string_view text, const std::string& file) {
  CALSEAL_CHECK(check_text(text, file));
  JsonTree tree;
  tree.decoded_ = std::make_unique_for_overwrite<char[]>(text.size());
  constexpr std::size_t kUsual = 16;  // bytes of text for each value
  JsonTreeBuilder builder(tree, text.size() / kUsual + 1);
  CALSEAL_CHECK(StrictReader(text, file, tree.decoded_.get(), builder).read());
  return tree;
}

Result<JsonTree> JsonTree::parse_list(std::string_view text, const std::string& file, const List& list) {
  CALSEAL_CHECK(check_text(text, file));
  JsonTree tree;
  tree.decoded_ = std::make_unique_for_overwrite<char[]>(text.size());
  JsonListBuilder builder(tree, list);
  CALSEAL_CHECK(StrictReader(text, file, tree.decoded_.get(), builder).read());
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
