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

std::string_view kind_name(JsonKind kind) {
  switch (kind) {
    case JsonKind::kString:
      return "a string";
    case JsonKind::kInteger:
      return "a number";
    case JsonKind::kBoolean:
      return "true or false";
    case JsonKind::kArray:
      return "an array";
    case JsonKind::kObject:
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
  for (JsonTree::Index at = 0; at != value_;) {
    const bool is_object = tree_->kind(at) == JsonKind::kObject;
    JsonTree::Index child = JsonTree::first(at);
    std::size_t number = tree_->dropped(at);
    for (; tree_->next(child) <= value_; child = tree_->next(child)) ++number;
    pointer += "/" + (is_object ? escape_pointer(tree_->key(child)) : std::to_string(number));
    at = child;
  }
  return pointer;
}

void JsonNode::refuse(Reason reason, std::string found, std::string expected) const {
  if (!document_->ok()) return;
  document_->refuse(reason, pointer(), offset(), std::move(found), std::move(expected));
}

std::string JsonNode::found() const {
  switch (kind()) {
    case JsonKind::kString:
      return "\"" + printable(tree_->text(value_), 60) + "\"";
    case JsonKind::kInteger:
      return std::to_string(tree_->integer(value_));
    case JsonKind::kBoolean:
      return tree_->boolean(value_) ? "true" : "false";
    default:
      return std::string(kind_name(kind()));
  }
}

std::string JsonNode::text(std::size_t limit) const {
  if (!is_text()) {
    refuse(Reason::kJsonType, found(), "a string");
    return {};
  }
  const std::string_view text = tree_->text(value_);
  if (text.size() > limit) {
    refuse(Reason::kJsonValue, std::to_string(text.size()) + " bytes",
           "at most " + std::to_string(limit) + " bytes");
    return {};
  }
  return std::string(text);
}

std::uint64_t JsonNode::integer(std::uint64_t least, std::uint64_t most) const {
  if (kind() != JsonKind::kInteger) {
    refuse(Reason::kJsonType, found(), "a whole number");
    return least;
  }
  const std::uint64_t value = tree_->integer(value_);
  if (value < least || value > most) {
    refuse(Reason::kJsonValue, found(), "from " + std::to_string(least) + " to " + std::to_string(most));
    return least;
  }
  return value;
}

std::uint64_t JsonNode::number(std::uint64_t least, std::uint64_t most) const {
  std::uint64_t value = 0;
  if (kind() == JsonKind::kInteger) {
    value = tree_->integer(value_);
  } else if (kind() == JsonKind::kString) {
    const std::string_view digits = tree_->text(value_);
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
  if (kind() != JsonKind::kString) {
    refuse(Reason::kJsonType, found(), "an address as \"0x%08x\"");
    return 0;
  }
  const auto address = parse_address(tree_->text(value_));
  if (!address) refuse(Reason::kJsonValue, found(), "an address as \"0x\" and eight lower-case digits");
  return address.value_or(0);
}

bool JsonNode::boolean() const {
  if (kind() != JsonKind::kBoolean) refuse(Reason::kJsonType, found(), "true or false");
  return tree_->boolean(value_);
}

Bytes JsonNode::hex(std::size_t least, std::size_t most) const {
  const auto expected = [&] {
    return "lower-case hexadecimal of " +
           (least == most ? std::to_string(least) : std::to_string(least) + " to " + std::to_string(most)) +
           " bytes";
  };
  if (kind() != JsonKind::kString) {
    refuse(Reason::kJsonType, found(), expected());
    return Bytes(least);
  }
  auto bytes = from_hex(tree_->text(value_));
  if (!bytes || bytes->size() < least || bytes->size() > most) {
    refuse(Reason::kJsonValue, found(), expected());
    return Bytes(least);
  }
  return *std::move(bytes);
}

std::size_t JsonNode::choice(const std::vector<std::string_view>& choices) const {
  if (kind() == JsonKind::kString) {
    for (std::size_t i = 0; i < choices.size(); ++i) {
      if (tree_->text(value_) == choices[i]) return i;
    }
  }
  std::string expected = "one of";
  for (const std::string_view choice : choices) expected += " \"" + std::string(choice) + "\"";
  refuse(kind() == JsonKind::kString ? Reason::kJsonValue : Reason::kJsonType, found(), expected);
  return 0;
}

std::size_t JsonNode::length(std::size_t limit) const {
  if (kind() != JsonKind::kArray) {
    refuse(Reason::kJsonType, found(), "an array");
    return 0;
  }
  const JsonTree::Index count = tree_->count(value_);
  if (count > limit) {
    refuse(Reason::kJsonValue, std::to_string(count) + " elements", "at most " + std::to_string(limit));
    return 0;
  }
  return count;
}

std::vector<JsonNode> JsonNode::items(std::size_t limit) const {
  std::vector<JsonNode> nodes;
  const std::size_t count = length(limit);
  if (count == 0) return nodes;
  nodes.reserve(count);
  for (JsonTree::Index item = JsonTree::first(value_); item < tree_->next(value_); item = tree_->next(item))
    nodes.emplace_back(*document_, *tree_, item);
  return nodes;
}

JsonObject::JsonObject(const JsonNode& node) : node_(node) {
  if (node.kind() != JsonKind::kObject) {
    node.refuse(Reason::kJsonType, std::string(kind_name(node.kind())), "an object");
    return;
  }
  count_ = node.tree_->count(node.value_);
  next_.value = JsonTree::first(node.value_);
  if (count_ > 64) asked_later_.resize(count_ - 64);
}

void JsonObject::step(Member& member) const {
  ++member.number;
  member.value = node_.tree_->next(member.value);
  if (member.number == count_) member = {0, JsonTree::first(node_.value_)};
}

std::optional<JsonObject::Member> JsonObject::find(std::string_view key) const {
  Member member = next_;
  for (JsonTree::Index i = 0; i < count_; ++i, step(member)) {
    if (node_.tree_->key(member.value) == key) return member;
  }
  return std::nullopt;
}

void JsonObject::note_asked(JsonTree::Index number) {
  if (number < 64) {
    asked_ |= std::uint64_t{1} << number;
  } else {
    asked_later_[number - 64] = true;
  }
}

bool JsonObject::was_asked(JsonTree::Index number) const {
  return number < 64 ? (asked_ >> number & 1) != 0 : asked_later_[number - 64];
}

std::optional<JsonNode> JsonObject::optional(std::string_view key) {
  const auto member = find(key);
  if (!member) return std::nullopt;
  note_asked(member->number);
  next_ = *member;
  step(next_);
  return JsonNode(*node_.document_, *node_.tree_, member->value);
}

std::optional<JsonNode> JsonObject::required(std::string_view key) {
  auto node = optional(key);
  if (!node && node_.kind() == JsonKind::kObject) {
    node_.refuse(Reason::kJsonMissingKey, "no \"" + std::string(key) + "\"",
                 "the key \"" + std::string(key) + "\"");
  }
  return node;
}

bool JsonObject::has(std::string_view key) const { return find(key).has_value(); }

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
  JsonTree::Index member = JsonTree::first(node_.value_);
  for (JsonTree::Index i = 0; i < count_; ++i, member = node_.tree_->next(member)) {
    if (was_asked(i)) continue;
    JsonNode(*node_.document_, *node_.tree_, member)
        .refuse(Reason::kJsonUnknownKey, "\"" + printable(node_.tree_->key(member), 60) + "\"",
                "only keys that this kind of file has");
    return;
  }
}

}  // namespace calseal
