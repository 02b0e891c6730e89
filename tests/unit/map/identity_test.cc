// Identity fields, patterns, VIN check characters and the recognition rule.
#include "calseal/map/identity.h"

#include <gtest/gtest.h>

#include <functional>

#include "support/map_builder.h"
#include "support/matchers.h"
#include "support/vector_file.h"

namespace calseal {
namespace {

MapBuilder flash() {
  MapBuilder builder;
  builder.memory("flash", 0, 0x400);
  return builder;
}

// --- VIN

struct VinRow {
  std::string vin;
  std::string check;
};

std::vector<VinRow> vins() {
  std::vector<VinRow> rows;
  const auto status =
      read_vector_text(std::string(text_of(read_file(vector_path("vin.json"), 1 << 20).value())), "vin.json",
                       [&](JsonObject& root) {
                         for (const JsonNode& node : root.items("values", 100)) {
                           JsonObject row(node);
                           row.text("character");
                           row.integer("value", 0, 9);
                           row.done();
                         }
                         for (const JsonNode& node : root.items("weights", 17)) (void)node;
                         for (const JsonNode& node : root.items("rows", 100)) {
                           JsonObject row(node);
                           const std::string vin = row.text("vin");
                           row.integer("sum", 0, 10000);
                           rows.push_back({vin, row.text("check")});
                           row.text("source");
                           row.done();
                         }
                         for (const JsonNode& node : root.items("must_reject", 100)) {
                           JsonObject row(node);
                           rows.push_back({row.text("vin"), ""});
                           row.text("why");
                           row.done();
                         }
                       });
  EXPECT_THAT(status, IsOk());
  return rows;
}

TEST(Vin, CheckCharactersAreThePublishedOnes) {
  int good = 0;
  for (const VinRow& row : vins()) {
    if (row.check.empty()) {
      EXPECT_TRUE(row.vin.size() != 17 || vin_check_character(row.vin) != row.vin[8]) << row.vin;
      continue;
    }
    ++good;
    EXPECT_EQ(std::string(1, vin_check_character(row.vin)), row.check) << row.vin;
    EXPECT_EQ(row.vin[8], row.check[0]);
  }
  EXPECT_GE(good, 7);
}

TEST(Vin, HasNoCheckCharacterWithOtherCharactersOrLengths) {
  for (const char* vin : {"1M8GDM9AXKP04278", "1M8GDM9AXKP0427888", "1M8GDM9AXKPO42788", "1M8GDM9AXKPI42788",
                          "1M8GDM9AXKPQ42788", "1m8gdm9axkp042788", "1M8GDM9AXKP04278 ", ""}) {
    EXPECT_EQ(vin_check_character(vin), '\0') << vin;
  }
}

TEST(Vin, EveryChangedCharacterThatTheSumSeesIsNoticed) {
  // Adjacent values differ by less than 11 and weights are no multiples of it, so every single change of
  // value shows.
  const std::string vin = "11111111111111111";
  for (std::size_t i = 0; i < 17; ++i) {
    if (i == 8) continue;
    for (char c = '2'; c <= '9'; ++c) {
      std::string other = vin;
      other[i] = c;
      EXPECT_NE(vin_check_character(other), '1') << other;
    }
  }
}

TEST(Vin, AWrongCheckDigitIsACautionAndNoFault) {
  const RegionMap map = flash().field("vin", "vin", 0, 17, "ascii", R"("binds": true)").parse();
  Image image = filled_image(map);
  put_text(image, 0, "1M8GDM9A1KP042788");
  const IdentityValue value = read_identity(map, image)[0];
  EXPECT_TRUE(value.well_formed);
  EXPECT_NE(value.caution.find(" X "), std::string::npos) << value.caution;
  EXPECT_THAT(recognise_family(map, image), IsOk());
  put_text(image, 0, "1M8GDM9AXKP042788");
  EXPECT_EQ(read_identity(map, image)[0].caution, "");
  put_text(image, 0, "1M8GDM9AXKPO42788");
  EXPECT_NE(read_identity(map, image)[0].caution, "");
}

// --- patterns

// The page's table as a backtracking matcher over every way to split.
bool naive_match(std::string_view text, std::string_view pattern) {
  if (pattern.empty()) return text.empty();
  if (pattern == "*") {
    for (const char c : text) {
      if (c < 0x20 || c > 0x7e) return false;
    }
    return true;
  }
  if (text.empty()) return false;
  const auto rest = [&](std::size_t used) { return naive_match(text.substr(1), pattern.substr(used)); };
  const char c = text[0];
  const bool digit = '0' <= c && c <= '9';
  const bool letter = 'A' <= c && c <= 'Z';
  if (pattern[0] == '\\') return pattern.size() > 1 && pattern[1] == c && rest(2);
  if (pattern[0] == '#') return digit && rest(1);
  if (pattern[0] == '@') return letter && rest(1);
  if (pattern[0] == '?') return (digit || letter) && rest(1);
  if (pattern[0] == '.') return c >= 0x20 && c <= 0x7e && rest(1);
  return pattern[0] == c && rest(1);
}

TEST(Patterns, AgreeWithTheTableOnAllShortTextsAndPatterns) {
  const std::string text_letters = "0A#*\\a \x7f";
  const std::vector<std::string> pieces = {"#", "@", "?", ".", "\\#", "\\\\", "\\*", "0", "a"};
  std::vector<std::string> texts{""};
  for (std::size_t i = 0; i < texts.size() && texts[i].size() < 3; ++i) {
    for (const char c : text_letters) texts.push_back(texts[i] + c);
  }
  std::vector<std::string> patterns;
  for (const std::string& a : pieces) {
    patterns.push_back(a);
    patterns.push_back(a + "*");
    for (const std::string& b : pieces) {
      patterns.push_back(a + b);
      patterns.push_back(a + b + "*");
    }
  }
  patterns.emplace_back("*");
  int matched = 0;
  for (const std::string& pattern : patterns) {
    for (const std::string& text : texts) {
      ASSERT_EQ(matches_pattern(text, pattern), naive_match(text, pattern))
          << "\"" << text << "\" \"" << pattern << "\"";
      matched += matches_pattern(text, pattern) ? 1 : 0;
    }
  }
  EXPECT_GT(matched, 1000);
}

TEST(Patterns, ReadAsWritten) {
  EXPECT_TRUE(matches_pattern("E1-0000123", "E1-#######"));
  EXPECT_FALSE(matches_pattern("E1-000012", "E1-#######"));
  EXPECT_FALSE(matches_pattern("E1-00001234", "E1-#######"));
  EXPECT_FALSE(matches_pattern("e1-0000123", "E1-#######"));
  EXPECT_TRUE(matches_pattern("AB anything", "@@*"));
  EXPECT_TRUE(matches_pattern("AB", "@@*"));
}

// --- encodings

struct EncodingRow {
  std::string name, encoding, stored, text, pattern;
  bool well_formed;
};

class Encodings : public testing::TestWithParam<EncodingRow> {};

TEST_P(Encodings, GiveTheirText) {
  const EncodingRow& row = GetParam();
  const std::uint64_t size = row.stored.size() / 2;
  const RegionMap map = flash()
                            .field("f", "other", 0x10, size, row.encoding,
                                   row.pattern.empty() ? "" : R"("pattern": )" + in_quotes(row.pattern))
                            .parse();
  Image image = filled_image(map);
  put_bytes(image, 0x10, from_hex(row.stored).value());
  const IdentityValue value = read_identity(map, image)[0];
  EXPECT_TRUE(value.known);
  EXPECT_FALSE(value.blank);
  EXPECT_EQ(value.text, row.text);
  EXPECT_EQ(value.well_formed, row.well_formed);
  if (row.well_formed) {
    EXPECT_THAT(recognise_family(map, image), IsOk());
  } else {
    EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kIdentityMismatch, "f, flash 0x00000010"));
  }
}

INSTANTIATE_TEST_SUITE_P(
    All, Encodings,
    testing::Values(EncodingRow{"Ascii", "ascii", "41422031", "AB 1", "", true},
                    EncodingRow{"AsciiPaddedWithZeros", "ascii", "41420000", "AB", "@@", true},
                    EncodingRow{"AsciiPaddedWithBlanksAndErased", "ascii", "4120ff00", "A", "@", true},
                    EncodingRow{"AsciiAllBlanks", "ascii", "20202020", "", "", true},
                    EncodingRow{"AsciiAllBlanksAgainstAPattern", "ascii", "20202020", "", "@*", false},
                    EncodingRow{"AsciiPaddingInside", "ascii", "41004200", "41004200", "", false},
                    EncodingRow{"AsciiControl", "ascii", "411b5b41", "411b5b41", "", false},
                    EncodingRow{"AsciiHigh", "ascii", "41e44141", "41e44141", "", false},
                    EncodingRow{"AsciiOtherPattern", "ascii", "41424344", "ABCD", "####", false},
                    EncodingRow{"Bcd", "bcd", "1037500001", "1037500001", "##########", true},
                    EncodingRow{"BcdLeadingZeros", "bcd", "0001", "0001", "####", true},
                    EncodingRow{"BcdWithALetter", "bcd", "103a", "103a", "", false},
                    EncodingRow{"IntegerLittle", "integer-little", "0102", "513", "###", true},
                    EncodingRow{"IntegerBig", "integer-big", "0102", "258", "###", true},
                    EncodingRow{"IntegerWide", "integer-big", "fffffffffffffffe", "18446744073709551614", "",
                                true},
                    EncodingRow{"Hex", "hex", "00abff", "00abff", "00ab*", true},
                    EncodingRow{"HexLetterClassIsUpperCase", "hex", "ab", "ab", "@@", false}),
    [](const auto& row) { return row.param.name; });

TEST(Identity, BlankFieldsSayNothingAndAreNoFault) {
  const RegionMap map = flash().field("f", "other", 0x10, 4, "bcd", R"("pattern": "########")").parse();
  Image image = filled_image(map);
  for (const std::uint8_t fill : Bytes{0x00, 0xff}) {
    put_bytes(image, 0x10, Bytes(4, fill));
    EXPECT_TRUE(read_identity(map, image)[0].blank);
    EXPECT_THAT(recognise_family(map, image), IsOk());
  }
  put_bytes(image, 0x10, Bytes{0, 0, 0, 0xff});
  EXPECT_FALSE(read_identity(map, image)[0].blank);
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kIdentityMismatch));
}

TEST(Identity, UnknownFieldsHaveNoTextAndAreNoFault) {
  const RegionMap map = flash().field("f", "other", 0x10, 4, "ascii", R"("pattern": "####")").parse();
  Image image = filled_image(map);
  put_text(image, 0x10, "ABCD");
  forget(image, 0x13, 1);
  const IdentityValue value = read_identity(map, image)[0];
  EXPECT_FALSE(value.known);
  EXPECT_EQ(value.text, "");
  EXPECT_FALSE(value.well_formed);
  EXPECT_THAT(recognise_family(map, image), IsOk());
}

// --- recognition

TEST(Recognition, EveryMatchCountsWhereItsMaskHasOnes) {
  const RegionMap map = flash()
                            .recognise(R"({"all": [{"memory": "flash", "at": "0x00000010", "bytes": "4531"},
                                           {"memory": "flash", "at": "0x00000020", "bytes": "f0aa", "mask": "f000"}]})")
                            .parse();
  Image image = filled_image(map);
  put_bytes(image, 0x10, Bytes{0x45, 0x31});
  put_bytes(image, 0x20, Bytes{0xf7, 0x00});
  EXPECT_THAT(recognise_family(map, image), IsOk());
  byte_at(image, 0x20) = 0xe7;
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kFamilyMismatch, "flash 0x00000020"));
  byte_at(image, 0x20) = 0xf0;
  byte_at(image, 0x11) = 0x32;
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kFamilyMismatch, "flash 0x00000010"));
  byte_at(image, 0x11) = 0x31;
  // Of a partial image the part decides that is known; with a byte unknown, even one that the mask leaves
  // out, that is the other match alone.
  forget(image, 0x21, 1);
  EXPECT_THAT(recognise_family(map, image), IsOk());
  byte_at(image, 0x11) = 0x32;
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kFamilyMismatch, "flash 0x00000010"));
  forget(image, 0x11, 1);
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kFamilyMismatch, "flash 0x00000010"));
}

TEST(Recognition, AMemoryThatLooksRandomThroughoutIsRefusedAsThat) {
  MapBuilder builder;
  builder.memory("flash", 0, 0x8000)
      .recognise(R"({"all": [{"memory": "flash", "at": "0x00000010", "bytes": "45310000aaaa5555"}]})");
  const RegionMap map = builder.parse();
  Random random;
  Image image = filled_image(map);
  put_bytes(image, 0, random.bytes(0x8000));
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kFormOpaque, "flash"));
}

TEST(Recognition, TheSoftwareNumberMustBeOneOfThose) {
  const RegionMap map = flash()
                            .recognise(R"({"software_numbers": ["1037500001", "1037500002"]})")
                            .field("n", "software-number", 0x10, 12, "ascii")
                            .parse();
  Image image = filled_image(map);
  put_text(image, 0x10, "1037500002");
  EXPECT_THAT(recognise_family(map, image), IsOk());
  put_text(image, 0x10, "1037500003");
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kFamilyMismatch, "flash 0x00000010"));
  put_bytes(image, 0x10, Bytes(12, 0xff));
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kFamilyMismatch));
}

TEST(Recognition, AnUnknownSoftwareNumberIsNotOneOfThose) {
  const RegionMap map = flash()
                            .recognise(R"({"software_numbers": ["1037500001"]})")
                            .field("n", "software-number", 0x10, 10, "ascii")
                            .parse();
  Image image = filled_image(map);
  put_text(image, 0x10, "1037500001");
  forget(image, 0x19, 1);
  const auto status = recognise_family(map, image);
  ASSERT_THAT(status, FailsWith(Reason::kFamilyMismatch, "flash 0x00000010"));
  EXPECT_EQ(status.error().found, "unknown bytes");
}

TEST(Recognition, LongSoftwareNumbersAreComparedWhole) {
  const std::string number(250, '7');
  const RegionMap map = flash()
                            .recognise(R"({"software_numbers": [)" + in_quotes(number) + "]}")
                            .field("n", "software-number", 0x10, 250, "ascii")
                            .parse();
  Image image = filled_image(map);
  put_text(image, 0x10, number);
  EXPECT_THAT(recognise_family(map, image), IsOk());
}

TEST(Recognition, AnotherActiveBankIsRefused) {
  const RegionMap map =
      flash()
          .copy("bank_b", 0x100, 0x80, 4,
                R"("active_bank": {"memory": "flash", "at": "0x00000200", "equals": "a55a"})")
          .parse();
  Image image = filled_image(map);
  put_bytes(image, 0x200, Bytes{0xa5, 0x5a});
  EXPECT_THAT(recognise_family(map, image), IsOk());
  put_bytes(image, 0x200, Bytes{0x5a, 0xa5});
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kBankNotActive, "bank_b, flash 0x00000200"));
  forget(image, 0x200, 1);
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kBankNotActive));
}

TEST(Recognition, FamilyComesBeforeBankAndBankBeforeIdentity) {
  const RegionMap map = flash()
                            .recognise(R"({"all": [{"memory": "flash", "at": "0x00000010", "bytes": "45"}]})")
                            .copy("b", 0x100, 0x80, 4,
                                  R"("active_bank": {"memory": "flash", "at": "0x00000200", "equals": "a5"})")
                            .field("f", "other", 0x20, 2, "bcd")
                            .parse();
  Image image = filled_image(map);
  put_bytes(image, 0x20, Bytes{0xab, 0x00});
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kFamilyMismatch));
  byte_at(image, 0x10) = 0x45;
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kBankNotActive));
  byte_at(image, 0x200) = 0xa5;
  EXPECT_THAT(recognise_family(map, image), FailsWith(Reason::kIdentityMismatch));
}

}  // namespace
}  // namespace calseal
