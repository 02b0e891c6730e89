#include "calseal/map/identity.h"

#include <algorithm>
#include <array>
#include <optional>

#include "calseal/base/text.h"
#include "calseal/image/entropy.h"
#include "calseal/map/value.h"

namespace calseal {
namespace {

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_letter(char c) { return c >= 'A' && c <= 'Z'; }
bool is_printable(char c) { return c >= 0x20 && c < 0x7f; }

std::string without_padding(ByteView bytes) {
  std::size_t end = bytes.size();
  while (end > 0 && (bytes[end - 1] == 0x00 || bytes[end - 1] == 0x20 || bytes[end - 1] == 0xff)) --end;
  return std::string(text_of(bytes.first(end)));
}

// Text of the field, or nothing when the bytes are not of its encoding.
std::optional<std::string> decode(const IdentityField& field, ByteView bytes) {
  switch (field.encoding) {
    case IdentityEncoding::kAscii: {
      std::string text = without_padding(bytes);
      if (!std::ranges::all_of(text, is_printable)) return std::nullopt;
      return text;
    }
    case IdentityEncoding::kBcd: {
      std::string text = to_hex(bytes);
      if (!std::ranges::all_of(text, is_digit)) return std::nullopt;
      return text;
    }
    case IdentityEncoding::kIntegerLittle:
      return std::to_string(decode_word(bytes, ByteOrder::kLittle));
    case IdentityEncoding::kIntegerBig:
      return std::to_string(decode_word(bytes, ByteOrder::kBig));
    case IdentityEncoding::kHex:
      return to_hex(bytes);
  }
  return std::nullopt;
}

int vin_value(char c) {
  // 49 CFR 565.15(c)(1), table III.
  constexpr std::string_view kLetters =
      "ABCDEFGH"
      "JKLMN"
      "P"
      "R"
      "STUVWXYZ";
  constexpr std::array<int, 23> kValues = {1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4,
                                           5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9};
  if (is_digit(c)) return c - '0';
  const std::size_t at = kLetters.find(c);
  return at == std::string_view::npos ? -1 : kValues[at];
}

IdentityValue read_field(const IdentityField& field, const Image& image) {
  IdentityValue value;
  value.field = &field;
  const Memory& memory = image.memories[field.place.memory];
  value.known = memory.knows(field.place.range);
  if (!value.known) return value;
  const ByteView bytes = memory.view(field.place.range);
  value.blank = std::ranges::all_of(bytes, [](std::uint8_t b) { return b == 0x00; }) ||
                std::ranges::all_of(bytes, [](std::uint8_t b) { return b == 0xff; });
  const std::optional<std::string> text = decode(field, bytes);
  value.text = text ? printable(*text, 1024) : to_hex(bytes);
  value.well_formed = text && (field.pattern.empty() || matches_pattern(*text, field.pattern));
  if (field.kind == IdentityKind::kVin && text && !value.blank) {
    const char check = vin_check_character(*text);
    if (check == '\0') {
      value.caution = "not a 17-character VIN without I, O, Q";
    } else if (check != (*text)[8]) {
      value.caution = std::string("the check digit would be ") + check +
                      " under 49 CFR 565; vehicles outside its reach need not follow it";
    }
  }
  return value;
}

}  // namespace

bool matches_pattern(std::string_view text, std::string_view pattern) {
  std::size_t t = 0;
  for (std::size_t p = 0; p < pattern.size(); ++p) {
    if (pattern[p] == '*' && p + 1 == pattern.size()) {
      return std::ranges::all_of(text.substr(t), is_printable);
    }
    if (t == text.size()) return false;
    const char c = text[t++];
    switch (pattern[p]) {
      case '#':
        if (!is_digit(c)) return false;
        break;
      case '@':
        if (!is_letter(c)) return false;
        break;
      case '?':
        if (!is_digit(c) && !is_letter(c)) return false;
        break;
      case '.':
        if (!is_printable(c)) return false;
        break;
      case '\\':
        if (p + 1 == pattern.size() || c != pattern[++p]) return false;
        break;
      default:
        if (c != pattern[p]) return false;
    }
  }
  return t == text.size();
}

char vin_check_character(std::string_view vin) {
  // 49 CFR 565.15(c)(3), table IV; position 9 is the check character itself.
  constexpr std::array<int, 17> kWeights = {8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2};
  if (vin.size() != kWeights.size()) return '\0';
  int sum = 0;
  for (std::size_t i = 0; i < vin.size(); ++i) {
    const int value = vin_value(vin[i]);
    if (value < 0) return '\0';
    sum += value * kWeights[i];
  }
  return sum % 11 == 10 ? 'X' : static_cast<char>('0' + sum % 11);
}

std::vector<IdentityValue> read_identity(const RegionMap& map, const Image& image) {
  std::vector<IdentityValue> values;
  values.reserve(map.identity.size());
  for (const IdentityField& field : map.identity) values.push_back(read_field(field, image));
  return values;
}

namespace {

// What the recognition rule says of an image.
class Recognising {
 public:
  Recognising(const RegionMap& map, const Image& image) : map_(map), image_(image) {}

  // The memory whose bytes did not match; the map's number of memories when it was something else.
  std::size_t mismatched_memory() const { return mismatched_; }

  Status run(const std::vector<IdentityValue>& identity) {
    for (const Recognition::Match& match : map_.recognition.all) CALSEAL_CHECK(judge(match));
    for (const IdentityValue& value : identity) CALSEAL_CHECK(judge(value));
    if (unknown_ && !proved_) return fail(*unknown_);
    return {};
  }

 private:
  static Error mismatch(std::string place, std::string found, std::string expected) {
    return {Reason::kFamilyMismatch, "",
            std::move(place),        std::move(found),
            std::move(expected),     "use the region map of this controller's software family"};
  }
  void unknown(const Place& place, std::string expected) {
    if (!unknown_) unknown_ = mismatch(place_text(map_, place), "unknown bytes", std::move(expected));
  }

  Status judge(const Recognition::Match& match) {
    const Memory& memory = image_.memories[match.place.memory];
    if (!memory.knows(match.place.range)) {
      unknown(match.place, hex_excerpt(match.bytes));
      return {};
    }
    proved_ = true;
    const ByteView bytes = memory.view(match.place.range);
    for (std::size_t i = 0; i < bytes.size(); ++i) {
      if (((bytes[i] ^ match.bytes[i]) & match.mask[i]) == 0) continue;
      mismatched_ = match.place.memory;
      return fail(mismatch(place_text(map_, match.place), hex_excerpt(bytes), hex_excerpt(match.bytes)));
    }
    return {};
  }

  Status judge(const IdentityValue& value) {
    const std::vector<std::string>& numbers = map_.recognition.software_numbers;
    if (value.field->kind != IdentityKind::kSoftwareNumber || numbers.empty()) return {};
    std::string expected = "one of";
    for (const std::string& number : numbers) expected += " " + printable(number, 40);
    if (!value.known) {
      unknown(value.field->place, expected);
      return {};
    }
    proved_ = true;
    if (std::find(numbers.begin(), numbers.end(), value.text) != numbers.end()) return {};
    return fail(
        mismatch(place_text(map_, value.field->place), "software number " + value.text, std::move(expected)));
  }

  const RegionMap& map_;
  const Image& image_;
  std::optional<Error> unknown_;
  bool proved_ = false;
  std::size_t mismatched_ = map_.memories.size();
};

Status match_active_bank(const RegionMap& map, const Image& image) {
  for (const Copy& copy : map.copies) {
    if (!copy.active_bank) continue;
    const Memory& memory = image.memories[copy.active_bank->place.memory];
    const bool known = memory.knows(copy.active_bank->place.range);
    const ByteView bytes = memory.view(copy.active_bank->place.range);
    if (!known || !std::ranges::equal(bytes, copy.active_bank->equals)) {
      return fail({Reason::kBankNotActive, "", copy.name + ", " + place_text(map, copy.active_bank->place),
                   known ? hex_excerpt(bytes) : "unknown bytes", hex_excerpt(copy.active_bank->equals),
                   "the controller runs from its other bank: use or write a region map that edits that one"});
    }
  }
  return {};
}

}  // namespace

Status match_rule_and_bank(const RegionMap& map, const Image& image) {
  CALSEAL_CHECK(Recognising(map, image).run(read_identity(map, image)));
  return match_active_bank(map, image);
}

Status recognise_family(const RegionMap& map, const Image& image) {
  const std::vector<IdentityValue> identity = read_identity(map, image);
  Recognising rule(map, image);
  if (Status status = rule.run(identity); !status) {
    const std::size_t memory = rule.mismatched_memory();
    if (memory == map.memories.size() || !looks_opaque(image.memories[memory].bytes)) return status;
    const Error& mismatch = status.error();
    return fail({Reason::kFormOpaque, "", image.memories[memory].name,
                 "bytes nearly all of which look random", mismatch.expected + " at " + mismatch.place,
                 "save the read without encryption and compression, or have whoever encrypted it undo that"});
  }
  CALSEAL_CHECK(match_active_bank(map, image));
  for (const IdentityValue& value : identity) {
    if (!value.known || value.blank || value.well_formed) continue;
    return fail({Reason::kIdentityMismatch, "",
                 value.field->name + ", " + place_text(map, value.field->place), "\"" + value.text + "\"",
                 value.field->pattern.empty() ? "a field in its declared encoding"
                                              : "the pattern \"" + printable(value.field->pattern) + "\"",
                 "check that region map and read belong together, and that the read is sound"});
  }
  return {};
}

}  // namespace calseal
