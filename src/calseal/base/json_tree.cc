// The only file that touches the JSON library's reader.
#include "calseal/base/json_tree.h"

#include <rapidjson/reader.h>

#include <algorithm>
#include <cstring>
#include <limits>
#include <optional>
#include <unordered_set>

#include "calseal/base/text.h"

namespace calseal {

// Builds the tree, and stops at the first thing that strict JSON does not have. The library decodes strings
// in place, in a copy of the text, and says how far it has read.
class JsonTreeBuilder {
 public:
  using Size = rapidjson::SizeType;
  using Index = JsonTree::Index;

  JsonTreeBuilder(std::string_view text, const std::string& file, JsonTree& tree,
                  rapidjson::InsituStringStream& stream)
      : text_(text),
        file_(file),
        tree_(tree),
        stream_(stream),
        has_unicode_escapes_(text.find("\\u") != text.npos) {
    constexpr std::size_t kUsual = 16;  // bytes of text for each value
    tree_.values_.reserve(text.size() / kUsual + 1);
  }

  bool Null() {
    return refuse(4, Reason::kJsonType, "null", "a value", "leave the key out, or give a value");
  }
  bool Bool(bool value) {
    place(JsonKind::kBoolean, value ? 4 : 5, value ? 1 : 0);
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
    place(JsonKind::kInteger, 0, value);
    return true;
  }

  bool String(const char* decoded, Size length, bool /*copy*/) {
    if (!is_sound({decoded, length})) return false;
    place(JsonKind::kString, 0, piece(decoded, length));
    return true;
  }

  bool StartObject() { return open(JsonKind::kObject); }
  bool Key(const char* decoded, Size length, bool /*copy*/) {
    const std::string_view key(decoded, length);
    if (!is_sound(key)) return false;
    if (!is_new(key)) {
      return refuse(0, Reason::kJsonRepeatedKey, "\"" + printable(key, 60) + "\" again", "each key once",
                    "remove one of the two");
    }
    key_ = piece(decoded, length);
    return true;
  }
  bool EndObject(Size /*members*/) { return close(); }
  bool StartArray() { return open(JsonKind::kArray); }
  bool EndArray(Size /*items*/) { return close(); }

  // The library stands before the number, also when it gives up on one that no double holds.
  bool refuse_number(std::string_view literal, bool is_whole) {
    return refuse(0, Reason::kJsonNumber, printable(literal, 40), "a whole number from 0 to 9007199254740991",
                  is_whole ? "write large values as \"0x...\" strings where the field allows it"
                           : "write it without sign, fraction or exponent");
  }

  std::optional<Error> take_error() { return std::move(error_); }

 private:
  // An object or array that is not closed yet.
  struct Open {
    Index index = 0;
    std::unordered_set<std::string_view> keys;  // of an object that has many; few are looked through
  };

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

  bool is_new(std::string_view key) {
    constexpr Index kFew = 16;
    Open& object = open_.back();
    const Index count = tree_.count(object.index);
    if (count >= kFew && !object.keys.empty()) return object.keys.insert(key).second;
    Index member = JsonTree::first(object.index);
    for (Index i = 0; i < count; ++i, member = tree_.next(member)) {
      if (tree_.key(member) == key) return false;
      if (count >= kFew) object.keys.insert(tree_.key(member));
    }
    return count < kFew || object.keys.insert(key).second;
  }

  // Where the library is: at the first byte of a string, key or number, which it reads on a copy of the
  // stream, and behind what it has taken of anything else.
  std::size_t offset() const { return stream_.Tell(); }

  JsonTree::Piece piece(const char* decoded, Size length) const {
    return static_cast<JsonTree::Piece>(decoded - tree_.decoded_.get()) << 32 | length;
  }

  // `taken`: bytes of the value that the library is past.
  Index place(JsonKind kind, std::size_t taken, std::uint64_t content) {
    const auto index = static_cast<Index>(tree_.values_.size());
    if (!open_.empty()) ++tree_.values_[open_.back().index].count;
    tree_.values_.push_back(
        {key_, content, static_cast<std::uint32_t>(offset() - taken), index + 1, 0, kind});
    key_ = 0;
    return index;
  }

  bool open(JsonKind kind) {
    if (open_.size() >= static_cast<std::size_t>(kJsonDepthLimit)) {
      return refuse(1, Reason::kJsonDepth, "nesting deeper than " + std::to_string(kJsonDepthLimit),
                    "at most " + std::to_string(kJsonDepthLimit) + " levels", "do not use this file");
    }
    open_.push_back({place(kind, 1, 0), {}});
    return true;
  }

  bool close() {
    tree_.values_[open_.back().index].end = static_cast<Index>(tree_.values_.size());
    open_.pop_back();
    return true;
  }

  std::string_view text_;
  const std::string& file_;
  JsonTree& tree_;
  rapidjson::InsituStringStream& stream_;
  const bool has_unicode_escapes_;
  std::vector<Open> open_;
  JsonTree::Piece key_ = 0;  // of the value that comes next
  std::optional<Error> error_;
};

namespace {

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

Result<JsonTree> JsonTree::parse(std::string_view text, const std::string& file) {
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
  JsonTree tree;
  tree.decoded_ = std::make_unique_for_overwrite<char[]>(end + 1);
  std::memcpy(tree.decoded_.get(), text.data(), end);
  tree.decoded_[end] = '\0';
  rapidjson::InsituStringStream stream(tree.decoded_.get());
  JsonTreeBuilder builder(text, file, tree, stream);
  rapidjson::Reader reader;
  // By recursion, which ends where the builder refuses depth.
  constexpr unsigned kFlags = rapidjson::kParseInsituFlag | rapidjson::kParseNumbersAsStringsFlag;
  reader.Parse<kFlags>(stream, builder);
  if (reader.GetParseErrorCode() == rapidjson::kParseErrorNumberTooBig)
    builder.refuse_number(text.substr(reader.GetErrorOffset()), true);
  if (auto error = builder.take_error()) return fail(*std::move(error));
  if (reader.HasParseError() || end < text.size())
    return fail(syntax_error(text, file, reader.HasParseError() ? reader.GetErrorOffset() : end));
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
