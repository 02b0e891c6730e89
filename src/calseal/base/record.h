// A record described once: a function that names its fields in their order, each with the kind of its value.
// From this one list the record is read, written as canonical JSON, and described as a JSON Schema.
//
//   void member_fields(Fields& field, SetMember& member) {
//     field("controller", member.controller, kName);
//     field("base", member.base, Integer{1, kBaseLimit});
//   }
//
// A kind reads a value out of a node, or notes the fault there; writes it; and describes it. Kinds that need
// no layer are here, others beside what they are about.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/json_reader.h"
#include "calseal/base/json_text.h"
#include "calseal/base/utc_time.h"

namespace calseal {

// One way through a list of fields: reading, writing or describing them.
class Fields {
 public:
  explicit Fields(JsonObject& object) : object_(&object) {}
  explicit Fields(JsonText& text) : text_(&text) {}
  // Writes what a schema says of each key, and keeps the keys that must be there.
  Fields(JsonText& properties, std::vector<std::string>& required)
      : text_(&properties), required_(&required) {}

  // A field that is always there.
  template <typename Value, typename Kind>
  void operator()(std::string_view key, Value& value, const Kind& kind) {
    if (reads()) {
      if (const auto node = object_->required(key)) kind.read(*node, value);
      return;
    }
    if (required_ != nullptr) required_->emplace_back(key);
    put(key, value, kind);
  }
  // A field that is there when `value`, an optional one, holds something.
  template <typename Optional, typename Kind>
  void optional(std::string_view key, Optional& value, const Kind& kind) {
    std::remove_cvref_t<decltype(*value)> inner{};
    if (reads()) {
      const auto node = object_->optional(key);
      if (!node) return;
      kind.read(*node, inner);
      value = std::move(inner);
    } else if (required_ != nullptr) {
      put(key, inner, kind);
    } else if (value) {
      put(key, *value, kind);
    }
  }
  // A field that is left out, or may be, where `value` is `usual`.
  template <typename Value, typename Kind>
  void unless(const std::type_identity_t<Value>& usual, std::string_view key, Value& value,
              const Kind& kind) {
    if (!reads()) {
      if (required_ != nullptr || value != usual) put(key, value, kind);
    } else if (const auto node = object_->optional(key)) {
      kind.read(*node, value);
    } else {
      value = usual;
    }
  }
  // A field that a reader need not find, and that is always written.
  template <typename Value, typename Kind>
  void may_lack(std::string_view key, Value& value, const Kind& kind) {
    if (!reads()) {
      put(key, value, kind);
    } else if (const auto node = object_->optional(key)) {
      kind.read(*node, value);
    }
  }
  // The first field of a file: which kind of file it is. Whoever reads has looked at that before, or
  // compares the text afterwards.
  void kind_of_file(std::string_view kind);
  // Some of the fields under a key of their own: `list(inner)`.
  template <typename List>
  void object(std::string_view key, List list);
  // Two forms of one record. `with` is the one that has `key`; when written it is the one that `is_with`
  // says.
  template <typename With, typename Without>
  void either(std::string_view key, bool is_with, With with, Without without) {
    if (required_ != nullptr) {
      std::vector<std::string> either;
      Fields described(*text_, either);
      with(described);
      without(described);
    } else if (reads() ? object_->has(key) : is_with) {
      with(*this);
    } else {
      without(*this);
    }
  }

  bool reads() const { return object_ != nullptr; }
  // Only while reading: for faults of fields that do not fit together, and of fields that differ by others.
  JsonObject& read_from() const { return *object_; }

 private:
  template <typename Value, typename Kind>
  void put(std::string_view key, const Value& value, const Kind& kind) {
    text_->key(key);
    required_ != nullptr ? kind.describe(*text_) : kind.write(*text_, value);
  }

  JsonObject* object_ = nullptr;  // only while reading
  JsonText* text_ = nullptr;
  std::vector<std::string>* required_ = nullptr;  // only while describing
};

// The fields of a record of ours.
template <typename Value>
using FieldList = void (*)(Fields& field, Value& value);

// An object whose fields `list(fields)` names: the kind of what has no type of its own.
struct Members {
  template <typename List>
  void read(const JsonNode& node, List& list) const {
    JsonObject object(node);
    Fields fields(object);
    list(fields);
    object.done();
  }
  template <typename List>
  void write(JsonText& text, List& list) const {
    text.object([&] {
      Fields fields(text);
      list(fields);
    });
  }
  template <typename List>
  void describe(JsonText& schema, List& list) const {
    std::vector<std::string> required;
    schema.object([&] {
      schema.member("type", "object");
      schema.member("additionalProperties", false);
      schema.object("properties", [&] {
        Fields fields(schema, required);
        list(fields);
      });
      schema.array("required", required, [&](const std::string& key) { schema.value(key); });
    });
  }
};

template <typename List>
void Fields::object(std::string_view key, List list) {
  if (reads()) {
    if (const auto node = object_->required(key)) Members().read(*node, list);
    return;
  }
  if (required_ != nullptr) required_->emplace_back(key);
  text_->key(key);
  required_ != nullptr ? Members().describe(*text_, list) : Members().write(*text_, list);
}

template <typename Value>
struct Record {
  FieldList<Value> list;

  void read(const JsonNode& node, Value& value) const {
    const auto fields = [&](Fields& field) { list(field, value); };
    Members().read(node, fields);
  }
  // A list changes what it reads alone, so it may be given what must not change.
  void write(JsonText& text, const Value& value) const {
    const auto fields = [&](Fields& field) { list(field, const_cast<Value&>(value)); };
    Members().write(text, fields);
  }
  void describe(JsonText& schema) const {
    Value value{};
    const auto fields = [&](Fields& field) { list(field, value); };
    Members().describe(schema, fields);
  }
};

template <typename Value>
Record(FieldList<Value>) -> Record<Value>;

template <typename Kind>
struct List {
  Kind kind;
  std::size_t limit;

  template <typename Value>
  void read(const JsonNode& node, std::vector<Value>& values) const {
    for (const JsonNode& item : node.items(limit)) {
      kind.read(item, values.emplace_back());
      if (!node.document().ok()) return;
    }
  }
  template <typename Value>
  void write(JsonText& text, const std::vector<Value>& values) const {
    text.array(values, [&](const Value& value) { kind.write(text, value); });
  }
  void describe(JsonText& schema) const {
    schema.object([&] {
      schema.member("type", "array");
      schema.member("maxItems", limit);
      schema.key("items");
      kind.describe(schema);
    });
  }
};
template <typename Kind>
List(Kind, std::size_t) -> List<Kind>;

// "" where there is nothing: an optional value, or an empty text.
template <typename Kind>
struct OrNothing {
  Kind kind;

  template <typename Value>
  void read(const JsonNode& node, std::optional<Value>& value) const {
    if (!node.is_text("")) kind.read(node, value.emplace());
  }
  void read(const JsonNode& node, std::string& value) const {
    if (!node.is_text("")) kind.read(node, value);
  }
  template <typename Value>
  void write(JsonText& text, const std::optional<Value>& value) const {
    value ? kind.write(text, *value) : text.value("");
  }
  void write(JsonText& text, const std::string& value) const { text.value(value); }
  void describe(JsonText& schema) const {
    schema.object([&] {
      schema.array("anyOf", std::array{true, false}, [&](bool something) {
        if (something) return kind.describe(schema);
        schema.object([&] { schema.member("const", ""); });
      });
    });
  }
};

// UTF-8 of at most `limit` bytes.
struct Text {
  std::size_t limit = 1024;
  void read(const JsonNode& node, std::string& value) const { value = node.text(limit); }
  void write(JsonText& text, std::string_view value) const { text.value(value); }
  void describe(JsonText& schema) const;
};

struct Integer {
  std::uint64_t least = 0;
  std::uint64_t most = kJsonIntegerLimit;
  template <typename Value>
  void read(const JsonNode& node, Value& value) const {
    value = static_cast<Value>(node.integer(least, most));
  }
  void write(JsonText& text, std::uint64_t value) const { text.value(value); }
  void describe(JsonText& schema) const;
};

struct Boolean {
  void read(const JsonNode& node, bool& value) const { value = node.boolean(); }
  void write(JsonText& text, bool value) const { text.value(value); }
  void describe(JsonText& schema) const;
};
inline constexpr Boolean kBoolean;

// "0x%08x"
struct Address {
  template <typename Value>
  void read(const JsonNode& node, Value& value) const {
    value = static_cast<Value>(node.address());
  }
  void write(JsonText& text, std::uint64_t value) const;
  void describe(JsonText& schema) const;
};
inline constexpr Address kAddress;

// Lower-case hexadecimal of so many bytes.
struct Hex {
  std::size_t least;
  std::size_t most = least;
  void read(const JsonNode& node, Bytes& value) const { value = node.hex(least, most); }
  void write(JsonText& text, ByteView value) const;
  void describe(JsonText& schema) const;
};

// The same for a type that is an array of bytes: digests, keys.
struct HexArray {
  template <typename Value>
  void read(const JsonNode& node, Value& value) const {
    const Bytes bytes = node.hex(value.bytes.size(), value.bytes.size());
    std::copy(bytes.begin(), bytes.end(), value.bytes.begin());
  }
  template <typename Value>
  void write(JsonText& text, const Value& value) const {
    Hex{value.bytes.size()}.write(text, value.bytes);
  }
  void describe(JsonText& schema) const { Hex{32}.describe(schema); }
};
inline constexpr HexArray kHex32;

// RFC 3339, UTC, whole seconds.
struct Time {
  void read(const JsonNode& node, std::string& value) const;
  void read(const JsonNode& node, UtcTime& value) const;
  void write(JsonText& text, std::string_view value) const { text.value(value); }
  void write(JsonText& text, UtcTime value) const { text.value(time_text(value)); }
  void describe(JsonText& schema) const;
};
inline constexpr Time kTime;

// One of a few words, in the order of the values that they stand for: an enumeration, false and true, or the
// words themselves.
template <std::size_t kCount>
struct Choice {
  std::array<std::string_view, kCount> words;

  template <typename Value>
  void read(const JsonNode& node, Value& value) const {
    const std::size_t index = node.choice({words.begin(), words.end()});
    if constexpr (std::is_same_v<Value, std::string>) {
      value = words[index];
    } else {
      value = static_cast<Value>(index);
    }
  }
  template <typename Value>
  void write(JsonText& text, const Value& value) const {
    if constexpr (std::is_same_v<Value, std::string>) {
      text.value(value);
    } else {
      text.value(words[static_cast<std::size_t>(value)]);
    }
  }
  void describe(JsonText& schema) const {
    schema.object([&] { schema.array("enum", words, [&](std::string_view word) { schema.value(word); }); });
  }
};
template <typename... Words>
requires(std::is_convertible_v<Words, std::string_view>&&...) Choice(Words...)
->Choice<sizeof...(Words)>;
template <std::size_t kCount>
Choice(std::array<std::string_view, kCount>) -> Choice<kCount>;

// The number of the word in a list of names; nothing when it is none of them.
template <typename Value, std::size_t kCount>
std::optional<Value> find_word(const std::array<std::string_view, kCount>& words, std::string_view word) {
  const auto at = std::find(words.begin(), words.end(), word);
  return at == words.end() ? std::nullopt : std::optional(static_cast<Value>(at - words.begin()));
}

// `start` and "size": not empty, at most `limit` bytes, end at most 2^32.
void extent_fields(Fields& field, Range& range, std::string_view start, std::uint64_t limit);
inline void range_fields(Fields& field, Range& range) { extent_fields(field, range, "start", kAddressLimit); }

// The whole of a text.
template <typename Value>
Value read_record(const JsonNode& node, FieldList<Value> list) {
  Value value{};
  Record<Value>{list}.read(node, value);
  return value;
}
// Strict JSON as a record; the first fault (json-*) where it is none.
template <typename Value>
Result<Value> parse_fields(std::string_view text, FieldList<Value> list, const std::string& name) {
  CALSEAL_ASSIGN(const JsonTree tree, JsonTree::parse(text, name));
  JsonDocument document(text, name);
  Value value = read_record(JsonNode(document, tree), list);
  if (!document.ok()) return fail(document.error());
  return value;
}
// The one canonical text.
template <typename Value>
std::string canonical_text(const Value& value, FieldList<std::type_identity_t<Value>> list) {
  JsonText text;
  Record<Value>{list}.write(text, value);
  return text.take();
}
// The same as a value to be put into a larger one.
JsonValue tree_of(const std::string& canonical);
template <typename Value>
JsonValue record_json(const Value& value, FieldList<std::type_identity_t<Value>> list) {
  return tree_of(canonical_text(value, list));
}
// A JSON Schema (draft 2020-12) of the record. What must hold between fields is not in it.
template <typename Value>
std::string record_schema(FieldList<Value> list) {
  JsonText schema;
  Record<Value>{list}.describe(schema);
  return schema.take();
}

}  // namespace calseal
