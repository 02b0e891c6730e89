// A parsed JSON text to be read: its values in one piece, in the order of the text, which costs little to
// make and to look through. What is to be changed or written is a JsonValue (json.h).
#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/base/result.h"

namespace calseal {

class JsonTree {
 public:
  using Index = std::uint32_t;  // of a value; 0 is the whole text's

  // As parse_json(). 32 bytes for each value of the text, and a copy of it.
  static Result<JsonTree> parse(std::string_view text, const std::string& file);

  JsonKind kind(Index value) const { return values_[value].kind; }
  // Its key, where it is a member of an object. Views live as long as the tree, wherever that is moved to.
  std::string_view key(Index value) const { return piece(values_[value].key); }
  std::string_view text(Index value) const { return piece(values_[value].content); }  // kString: decoded
  std::uint64_t integer(Index value) const { return values_[value].content; }         // kInteger
  bool boolean(Index value) const { return values_[value].content != 0; }             // kBoolean
  std::size_t offset(Index value) const { return values_[value].offset; }  // of its first byte in the text

  // Items or members, one after another: from first(), each followed by next(), so many as count().
  Index count(Index container) const { return values_[container].count; }
  static Index first(Index container) { return container + 1; }
  Index next(Index value) const { return values_[value].end; }  // also: behind the last value within it

  // The same as a value that can be changed.
  JsonValue copy(Index value) const;

 private:
  friend class JsonTreeBuilder;
  // Bytes of the decoded text, both in 32 bits: begin above, size below.
  using Piece = std::uint64_t;
  struct Value {
    Piece key = 0;
    std::uint64_t content = 0;  // piece, number or truth
    std::uint32_t offset = 0;
    Index end = 0;
    Index count = 0;
    JsonKind kind = JsonKind::kObject;
  };
  static_assert(sizeof(Value) == 32);

  std::string_view piece(Piece piece) const {
    return {decoded_.get() + (piece >> 32), static_cast<std::size_t>(piece & 0xffffffff)};
  }

  std::unique_ptr<char[]> decoded_;  // stays where it is when the tree is moved
  std::vector<Value> values_;
};

}  // namespace calseal
