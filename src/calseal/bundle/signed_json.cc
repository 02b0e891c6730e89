#include "calseal/bundle/signed_json.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::string_view kDoNotUse = "do not use this file; ask its sender for a new copy";
constexpr std::size_t kShown = 20;  // bytes behind a difference

bool is_name_character(char c) {
  return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9') || c == '_' || c == '-';
}

std::string quoted(std::string_view text) { return "\"" + printable(text, 60) + "\""; }

}  // namespace

Status check_kind(ByteView bytes, std::string_view literal, const std::string& name) {
  if (text_of(bytes).starts_with(literal)) return {};
  return fail({Reason::kTypeWrong, name, "byte 0", quoted(text_of(bytes).substr(0, literal.size())),
               std::string(literal), "check that this is the right file for this place"});
}

void CanonicalComparison::take(std::string_view written) {
  if (!differs_) {
    const std::string_view rest = text_.substr(at_);
    const auto [same, end] = std::mismatch(rest.begin(), rest.end(), written.begin(), written.end());
    at_ += static_cast<std::size_t>(same - rest.begin());
    written.remove_prefix(static_cast<std::size_t>(end - written.begin()));
    differs_ = !written.empty();
  }
  written_ += written.substr(0, kShown - std::min(kShown, written_.size()));
}

Status CanonicalComparison::finish(const std::string& name) const {
  if (!differs_ && at_ == text_.size()) return {};
  const auto excerpt = [](std::string_view rest) {
    return rest.empty() ? std::string("the end") : quoted(rest.substr(0, kShown));
  };
  return fail({Reason::kJsonNotCanonical, name, "byte " + std::to_string(at_), excerpt(text_.substr(at_)),
               excerpt(written_), std::string(kDoNotUse)});
}

Status check_canonical(ByteView bytes, std::string_view written, const std::string& name) {
  CanonicalComparison comparison(bytes);
  comparison.take(written);
  return comparison.finish(name);
}

bool is_name(std::string_view text) {
  if (text.empty() || text.size() > kNameLimit || text[0] == '_' || text[0] == '-') return false;
  return std::all_of(text.begin(), text.end(), is_name_character);
}

bool is_line(std::string_view text) {
  return text.size() <= kLineLimit && std::none_of(text.begin(), text.end(), [](char c) {
           return static_cast<unsigned char>(c) < 0x20 || c == 0x7f;
         });
}

void Name::read(const JsonNode& node, std::string& value) const {
  value = node.text();
  if (!is_name(value)) node.refuse(Reason::kJsonValue, quoted(value), "a name: [a-z0-9][a-z0-9_-]{0,63}");
}

void Name::describe(JsonText& schema) const {
  schema.object([&] {
    schema.member("type", "string");
    schema.member("pattern", "^[a-z0-9][a-z0-9_-]{0,63}$");
  });
}

void Line::read(const JsonNode& node, std::string& value) const {
  value = node.text(kLineLimit);
  if (!is_line(value)) node.refuse(Reason::kJsonValue, quoted(value), "one line without control characters");
}

void Line::describe(JsonText& schema) const {
  schema.object([&] {
    schema.member("type", "string");
    schema.member("pattern", "^[^\\u0000-\\u001f\\u007f]*$");
    schema.member("maxLength", kLineLimit);
  });
}

JsonValue json_digest(const Sha256& digest) { return json(digest_text(digest)); }

JsonValue json_digest(const std::optional<Sha256>& digest) {
  return json(digest ? digest_text(*digest) : std::string());
}

}  // namespace calseal
