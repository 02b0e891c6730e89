// What all signed JSON has in common: a literal that tells its kind, one canonical text, and a few field
// types. docs/bundle-format.md, "Conventions".
#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/json_reader.h"
#include "calseal/base/json_write.h"
#include "calseal/base/record.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

inline constexpr std::size_t kNameLimit = 64;     // bytes
inline constexpr std::size_t kLineLimit = 200;    // bytes
inline constexpr std::size_t kTextLimit = 65536;  // bytes

// kTypeWrong unless the bytes begin with `literal`.
Status check_kind(ByteView bytes, std::string_view literal, const std::string& name);

// Bytes held against what writing their meaning again gives, piece by piece.
class CanonicalComparison {
 public:
  explicit CanonicalComparison(ByteView bytes) : text_(text_of(bytes)) {}
  // What is written next.
  void take(std::string_view written);
  // kJsonNotCanonical, with the offset of the first difference. Ask last.
  Status finish(const std::string& name) const;

 private:
  std::string_view text_;
  std::size_t at_ = 0;  // the bytes before are the same
  bool differs_ = false;
  std::string written_;  // what follows there, as much as is shown
};

// kJsonNotCanonical, with the offset of the first difference, unless the bytes are `written`.
Status check_canonical(ByteView bytes, std::string_view written, const std::string& name);

// Strict and canonical JSON as a record (json-*), of which writing it again must give the same bytes
// (kJsonNotCanonical).
template <typename Value>
Result<Value> read_canonical(ByteView bytes, FieldList<Value> fields, const std::string& name) {
  CALSEAL_ASSIGN(Value value, parse_fields(text_of(bytes), fields, name));
  CALSEAL_CHECK(check_canonical(bytes, canonical_text(value, fields), name));
  return value;
}

// [a-z0-9][a-z0-9_-]{0,63}
bool is_name(std::string_view text);
// At most 200 bytes without control characters (U+0000 to U+001F, U+007F).
bool is_line(std::string_view text);

// [a-z0-9][a-z0-9_-]{0,63}, see is_name().
struct Name {
  void read(const JsonNode& node, std::string& value) const;
  void write(JsonText& text, std::string_view value) const { text.value(value); }
  void describe(JsonText& schema) const;
};
inline constexpr Name kName;
// See is_line().
struct Line {
  void read(const JsonNode& node, std::string& value) const;
  void write(JsonText& text, std::string_view value) const { text.value(value); }
  void describe(JsonText& schema) const;
};
inline constexpr Line kLine;
inline constexpr HexArray kDigest;
inline constexpr OrNothing<HexArray> kMaybeDigest{};
inline constexpr OrNothing<Name> kMaybeName{};
inline constexpr OrNothing<Time> kMaybeTime{};

JsonValue json_digest(const Sha256& digest);
JsonValue json_digest(const std::optional<Sha256>& digest);  // nothing is ""

}  // namespace calseal
