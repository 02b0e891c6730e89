#include "calseal/base/json_reader.h"

#include "calseal/base/text.h"

namespace calseal {
namespace {

std::string escape_pointer(std::string_view key) {
  std::string out;
  for (const char c : key) {
    if (c == '~') {
      out += "~0";
    } else if (c == '/') {
      out += "~1";
    } else {
      out.push_back(c);
    }
  }
  return printable(out, 60);
}

// Puts the way from `from` to `wanted` before `pointer`, if there is one.
bool find_value(const JsonValue& from, const JsonValue* wanted, std::string& pointer) {
  if (&from == wanted) return true;
  for (std::size_t i = 0; i < from.items.size(); ++i) {
    if (!find_value(from.items[i], wanted, pointer)) continue;
    pointer.insert(0, "/" + std::to_string(i));
    return true;
  }
  for (const auto& [key, value] : from.members) {
    if (!find_value(value, wanted, pointer)) continue;
    pointer.insert(0, "/" + escape_pointer(key));
    return true;
  }
  return false;
}

std::string_view kind_name(JsonValue::Kind kind) {
  switch (kind) {
    case JsonValue::Kind::kString:
      return "a string";
    case JsonValue::Kind::kInteger:
      return "a number";
    case JsonValue::Kind::kBoolean:
      return "true or false";
    case JsonValue::Kind::kArray:
      return "an array";
    case JsonValue::Kind::kObject:
      return "an object";
  }
  return "a value";
}

}  // namespace

void JsonDocument::refuse(Reason reason, const std::string& pointer, std::size_t offset, std::string found,
                          std::string expected, std::string next) {
  if (error_) return;
  std::string place = pointer.empty() ? "the whole document" : pointer;
  if (!text_.empty()) place += " (" + line_and_column(text_, offset) + ")";
  error_ = Error{reason, file_, std::move(place), std::move(found), std::move(expected), std::move(next)};
}

std::string JsonNode::pointer() const {
  std::string pointer;
  find_value(*root_, value_, pointer);
  return pointer;
}

void JsonNode::refuse(Reason reason, std::string found, std::string expected) const {
  if (!document_->ok()) return;
  document_->refuse(reason, pointer(), value_->offset, std::move(found), std::move(expected));
}

std::string JsonNode::found() const {
  switch (value_->kind) {
    case JsonValue::Kind::kString:
      return "\"" + printable(value_->text, 60) + "\"";
    case JsonValue::Kind::kInteger:
      return std::to_string(value_->integer);
    case JsonValue::Kind::kBoolean:
      return value_->boolean ? "true" : "false";
    default:
      return std::string(kind_name(value_->kind));
  }
}

std::string JsonNode::text(std::size_t limit) const {
  if (value_->kind != JsonValue::Kind::kString) {
    refuse(Reason::kJsonType, found(), "a string");
    return {};
  }
  if (value_->text.size() > limit) {
    refuse(Reason::kJsonValue, std::to_string(value_->text.size()) + " bytes",
           "at most " + std::to_string(limit) + " bytes");
    return {};
  }
  return value_->text;
}

std::uint64_t JsonNode::integer(std::uint64_t least, std::uint64_t most) const {
  if (value_->kind != JsonValue::Kind::kInteger) {
    refuse(Reason::kJsonType, found(), "a whole number");
    return least;
  }
  if (value_->integer < least || value_->integer > most) {
    refuse(Reason::kJsonValue, found(), "from " + std::to_string(least) + " to " + std::to_string(most));
    return least;
  }
  return value_->integer;
}

std::uint64_t JsonNode::number(std::uint64_t least, std::uint64_t most) const {
  std::uint64_t value = 0;
  if (value_->kind == JsonValue::Kind::kInteger) {
    value = value_->integer;
  } else if (value_->kind == JsonValue::Kind::kString) {
    const std::string_view digits = value_->text;
    bool good = digits.starts_with("0x") && digits.size() >= 3 && digits.size() <= 18;
    for (std::size_t i = 2; good && i < digits.size(); ++i) {
      const char c = digits[i];
      good = (c >= '0' && c <= '9') || (c >= 'a' && c <= 'f');
      value = value * 16 + static_cast<std::uint64_t>(c <= '9' ? c - '0' : c - 'a' + 10);
    }
    if (!good) {
      refuse(Reason::kJsonValue, found(), "a whole number, or \"0x\" with 1 to 16 lower-case digits");
      return least;
    }
  } else {
    refuse(Reason::kJsonType, found(), "a whole number, or \"0x\" with 1 to 16 lower-case digits");
    return least;
  }
  if (value < least || value > most) {
    refuse(Reason::kJsonValue, found(), "from " + hex_number(least) + " to " + hex_number(most));
    return least;
  }
  return value;
}

std::uint64_t JsonNode::address() const {
  if (value_->kind != JsonValue::Kind::kString) {
    refuse(Reason::kJsonType, found(), "an address as \"0x%08x\"");
    return 0;
  }
  const auto address = parse_address(value_->text);
  if (!address) refuse(Reason::kJsonValue, found(), "an address as \"0x\" and eight lower-case digits");
  return address.value_or(0);
}

bool JsonNode::boolean() const {
  if (value_->kind != JsonValue::Kind::kBoolean) refuse(Reason::kJsonType, found(), "true or false");
  return value_->boolean;
}

Bytes JsonNode::hex(std::size_t least, std::size_t most) const {
  const auto expected = [&] {
    return "lower-case hexadecimal of " +
           (least == most ? std::to_string(least) : std::to_string(least) + " to " + std::to_string(most)) +
           " bytes";
  };
  if (value_->kind != JsonValue::Kind::kString) {
    refuse(Reason::kJsonType, found(), expected());
    return Bytes(least);
  }
  auto bytes = from_hex(value_->text);
  if (!bytes || bytes->size() < least || bytes->size() > most) {
    refuse(Reason::kJsonValue, found(), expected());
    return Bytes(least);
  }
  return *std::move(bytes);
}

std::size_t JsonNode::choice(const std::vector<std::string_view>& choices) const {
  if (value_->kind == JsonValue::Kind::kString) {
    for (std::size_t i = 0; i < choices.size(); ++i) {
      if (value_->text == choices[i]) return i;
    }
  }
  std::string expected = "one of";
  for (const std::string_view choice : choices) expected += " \"" + std::string(choice) + "\"";
  refuse(value_->kind == JsonValue::Kind::kString ? Reason::kJsonValue : Reason::kJsonType, found(),
         expected);
  return 0;
}

std::vector<JsonNode> JsonNode::items(std::size_t limit) const {
  std::vector<JsonNode> nodes;
  if (value_->kind != JsonValue::Kind::kArray) {
    refuse(Reason::kJsonType, found(), "an array");
    return nodes;
  }
  if (value_->items.size() > limit) {
    refuse(Reason::kJsonValue, std::to_string(value_->items.size()) + " elements",
           "at most " + std::to_string(limit));
    return nodes;
  }
  nodes.reserve(value_->items.size());
  for (const JsonValue& item : value_->items) nodes.push_back(below(item));
  return nodes;
}

JsonObject::JsonObject(const JsonNode& node) : node_(node), asked_(node.value().members.size(), false) {
  if (node.value().kind != JsonValue::Kind::kObject) {
    node.refuse(Reason::kJsonType, std::string(kind_name(node.value().kind)), "an object");
  }
}

std::optional<JsonNode> JsonObject::optional(std::string_view key) {
  const auto& members = node_.value().members;
  for (std::size_t i = 0; i < members.size(); ++i) {
    if (members[i].first != key) continue;
    asked_[i] = true;
    return node_.below(members[i].second);
  }
  return std::nullopt;
}

std::optional<JsonNode> JsonObject::required(std::string_view key) {
  auto node = optional(key);
  if (!node && node_.value().kind == JsonValue::Kind::kObject) {
    node_.refuse(Reason::kJsonMissingKey, "no \"" + std::string(key) + "\"",
                 "the key \"" + std::string(key) + "\"");
  }
  return node;
}

bool JsonObject::has(std::string_view key) const { return node_.value().find(key) != nullptr; }

std::string JsonObject::text(std::string_view key, std::size_t limit) {
  const auto node = required(key);
  return node ? node->text(limit) : std::string();
}

std::uint64_t JsonObject::integer(std::string_view key, std::uint64_t least, std::uint64_t most) {
  const auto node = required(key);
  return node ? node->integer(least, most) : least;
}

std::uint64_t JsonObject::number(std::string_view key, std::uint64_t least, std::uint64_t most) {
  const auto node = required(key);
  return node ? node->number(least, most) : least;
}

std::uint64_t JsonObject::address(std::string_view key) {
  const auto node = required(key);
  return node ? node->address() : 0;
}

bool JsonObject::boolean(std::string_view key) {
  const auto node = required(key);
  return node && node->boolean();
}

Bytes JsonObject::hex(std::string_view key, std::size_t least, std::size_t most) {
  const auto node = required(key);
  return node ? node->hex(least, most) : Bytes(least);
}

std::size_t JsonObject::choice(std::string_view key, const std::vector<std::string_view>& choices) {
  const auto node = required(key);
  return node ? node->choice(choices) : 0;
}

std::vector<JsonNode> JsonObject::items(std::string_view key, std::size_t limit) {
  const auto node = required(key);
  return node ? node->items(limit) : std::vector<JsonNode>();
}

void JsonObject::done() {
  const auto& members = node_.value().members;
  for (std::size_t i = 0; i < members.size(); ++i) {
    if (asked_[i]) continue;
    node_.below(members[i].second)
        .refuse(Reason::kJsonUnknownKey, "\"" + printable(members[i].first, 60) + "\"",
                "only keys that this kind of file has");
    return;
  }
}

}  // namespace calseal
