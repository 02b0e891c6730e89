// Reading typed fields out of a JSON tree, with one error that points at the place.
//
// A JsonDocument remembers the first fault; reading goes on with defaults, and the caller asks once at the
// end. That keeps a parser as flat as the format it reads, and nothing half-read can leave it.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/json_tree.h"
#include "calseal/base/result.h"

namespace calseal {

class JsonDocument {
 public:
  JsonDocument(std::string_view text, std::string file) : text_(text), file_(std::move(file)) {}

  // Keeps the first fault only. `pointer` is an RFC 6901 pointer.
  void refuse(Reason reason, const std::string& pointer, std::size_t offset, std::string found,
              std::string expected, std::string next = "correct the file at this place");
  bool ok() const { return !error_.has_value(); }
  // The first fault; only when !ok().
  Error error() const { return *error_; }
  const std::string& file() const { return file_; }

 private:
  std::string_view text_;
  std::string file_;
  std::optional<Error> error_;
};

// One value at one place. Cheap to copy; valid as long as document and tree live.
class JsonNode {
 public:
  // The whole of a tree.
  JsonNode(JsonDocument& document, const JsonTree& tree) : JsonNode(document, tree, 0) {}
  JsonNode(JsonDocument& document, const JsonTree& tree, JsonTree::Index value)
      : document_(&document), tree_(&tree), value_(value) {}

  JsonKind kind() const { return tree_->kind(value_); }
  bool is_text() const { return kind() == JsonKind::kString; }
  // Whether it is this very text.
  bool is_text(std::string_view text) const { return is_text() && tree_->text(value_) == text; }
  std::size_t offset() const { return tree_->offset(value_); }
  // RFC 6901. Looked for in the tree, since only a fault asks for it.
  std::string pointer() const;
  JsonDocument& document() const { return *document_; }
  // The same as a value that can be changed.
  JsonValue copy() const { return tree_->copy(value_); }
  void refuse(Reason reason, std::string found, std::string expected) const;

  // Each returns the value, or a default after noting the fault.
  std::string text(std::size_t limit = 1024) const;  // any UTF-8 of at most `limit` bytes
  std::uint64_t integer(std::uint64_t least, std::uint64_t most) const;
  // A decimal integer, or a string "0x..." of 1 to 16 lower-case digits.
  std::uint64_t number(std::uint64_t least, std::uint64_t most) const;
  // Exactly "0x%08x".
  std::uint64_t address() const;
  bool boolean() const;
  // Lower-case hexadecimal text of `least` to `most` bytes.
  Bytes hex(std::size_t least, std::size_t most) const;
  // Index into `choices`; the fault lists them.
  std::size_t choice(const std::vector<std::string_view>& choices) const;
  // Number of elements of an array of at most `limit`.
  std::size_t length(std::size_t limit) const;
  // Elements of an array of at most `limit`.
  std::vector<JsonNode> items(std::size_t limit) const;

 private:
  friend class JsonObject;
  std::string found() const;

  JsonDocument* document_;
  const JsonTree* tree_;
  JsonTree::Index value_;
};

// The members of one object; done() refuses keys that nobody asked for.
class JsonObject {
 public:
  explicit JsonObject(const JsonNode& node);

  // The member, or nothing after noting that it is missing.
  std::optional<JsonNode> required(std::string_view key);
  // The member, or nothing.
  std::optional<JsonNode> optional(std::string_view key);
  bool has(std::string_view key) const;

  // Shorthand for required members; a missing or wrong one gives the default after noting the fault.
  std::string text(std::string_view key, std::size_t limit = 1024);
  std::uint64_t integer(std::string_view key, std::uint64_t least, std::uint64_t most);
  std::uint64_t number(std::string_view key, std::uint64_t least, std::uint64_t most);
  std::uint64_t address(std::string_view key);
  bool boolean(std::string_view key);
  Bytes hex(std::string_view key, std::size_t least, std::size_t most);
  std::size_t choice(std::string_view key, const std::vector<std::string_view>& choices);
  std::vector<JsonNode> items(std::string_view key, std::size_t limit);

  const JsonNode& node() const { return node_; }
  // Call last: notes the first key that was never asked for.
  void done();

 private:
  // A member, by its number among them.
  struct Member {
    JsonTree::Index number = 0;
    JsonTree::Index value = 0;
  };
  std::optional<Member> find(std::string_view key) const;
  // From one member to the next; behind the last one comes the first.
  void step(Member& member) const;
  void note_asked(JsonTree::Index number);
  bool was_asked(JsonTree::Index number) const;

  JsonNode node_;
  JsonTree::Index count_ = 0;
  Member next_;                    // behind the one asked for last: keys are mostly asked for in their order
  std::uint64_t asked_ = 0;        // a bit for each of the first 64
  std::vector<bool> asked_later_;  // for the others
};

}  // namespace calseal
