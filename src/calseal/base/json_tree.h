// A parsed JSON text to be read: its values in one piece, in the order of the text, which costs little to
// make and to look through. What is to be changed or written is a JsonValue (json.h).
#pragma once

#include <cstdint>
#include <functional>
#include <memory>
#include <span>
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

  // The list at one key of a text's object, to be read item by item.
  struct List {
    std::string_view key;
    std::span<const std::string_view> names;  // keys of the object and of items that will be asked for
    // Given each item as it is read, in a tree that then holds no other; not kept behind the call.
    std::function<void(const JsonTree& tree, Index item)> take;
  };
  // As parse(), with the same faults, but the tree holds no more than one item of the list at a time, and in
  // the end none; count() still tells how many there were. Of other arrays and objects it holds the kind
  // alone, and of keys that are not among the names the first of each object. So it stays small whatever the
  // text, of which there is a copy, and eight bytes for each key of an object that is still open.
  static Result<JsonTree> parse_list(std::string_view text, const std::string& file, const List& list);

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
  // Items of a container that came before first() and are not held any more.
  Index dropped(Index container) const { return container == list_ ? dropped_ : 0; }

  // The same as a value that can be changed.
  JsonValue copy(Index value) const;

 private:
  friend class JsonTreeBuilder;
  friend class JsonListBuilder;
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
  Index list_ = 0;  // from parse_list(); the whole text's while there is none
  Index dropped_ = 0;
};

}  // namespace calseal
