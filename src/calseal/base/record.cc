#include "calseal/base/record.h"

#include "calseal/base/text.h"

namespace calseal {
namespace {

void describe_text(JsonText& schema, std::string_view pattern, std::size_t longest) {
  schema.object([&] {
    schema.member("type", "string");
    if (!pattern.empty()) schema.member("pattern", pattern);
    if (longest != 0) schema.member("maxLength", longest);
  });
}

std::string checked_time(const JsonNode& node) {
  std::string text = node.text();
  if (!parse_time(text))
    node.refuse(Reason::kJsonValue, "\"" + printable(text, 60) + "\"", "a time as \"YYYY-MM-DDThh:mm:ssZ\"");
  return text;
}

}  // namespace

void Fields::kind_of_file(std::string_view kind) {
  if (reads()) {
    object_->text("calseal");
    return;
  }
  text_->key("calseal");
  if (required_ == nullptr) return text_->value(kind);
  required_->emplace_back("calseal");
  text_->object([&] { text_->member("const", kind); });
}

void Text::describe(JsonText& schema) const { describe_text(schema, "", limit); }

void Integer::describe(JsonText& schema) const {
  schema.object([&] {
    schema.member("type", "integer");
    schema.member("minimum", least);
    schema.member("maximum", most);
  });
}

void Boolean::describe(JsonText& schema) const {
  schema.object([&] { schema.member("type", "boolean"); });
}

void Address::write(JsonText& text, std::uint64_t value) const { text.value(address_text(value)); }
void Address::describe(JsonText& schema) const { describe_text(schema, "^0x[0-9a-f]{8}$", 0); }

void Hex::write(JsonText& text, ByteView value) const { text.value(to_hex(value)); }
void Hex::describe(JsonText& schema) const {
  if (least == most) return describe_text(schema, "^[0-9a-f]{" + std::to_string(2 * most) + "}$", 0);
  describe_text(schema, "^([0-9a-f]{2})" + std::string(least == 0 ? "*$" : "+$"), 2 * most);
}

void Time::read(const JsonNode& node, std::string& value) const { value = checked_time(node); }
void Time::read(const JsonNode& node, UtcTime& value) const {
  value = parse_time(checked_time(node)).value_or(UtcTime{});
}
void Time::describe(JsonText& schema) const {
  describe_text(schema, "^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z$", 0);
}

void extent_fields(Fields& field, Range& range, std::string_view start, std::uint64_t limit) {
  std::uint64_t begin = range.begin;
  std::uint64_t size = range.size();
  field(start, begin, kAddress);
  field("size", size, Integer{1, limit});
  if (!field.reads()) return;
  const auto whole = make_range(begin, size, kAddressLimit);
  if (!whole) {
    field.read_from().node().refuse(Reason::kJsonValue,
                                    address_text(begin) + " and " + grouped(size) + " bytes",
                                    "an end of at most 2^32");
  }
  range = whole.value_or(Range{});
}

JsonValue tree_of(const std::string& canonical) { return parse_json(canonical, "").value_or(JsonValue()); }

}  // namespace calseal
