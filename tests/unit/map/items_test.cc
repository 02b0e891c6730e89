// Calibration items: stored bytes to physical values, limits, axes.
#include "calseal/map/items.h"

#include <gtest/gtest.h>

#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

std::string item_at_zero(std::string_view kind, std::string_view type, std::string_view more = "") {
  return R"({"name": "i", "kind": ")" + std::string(kind) +
         R"(", "memory": "flash", "start": "0x00000000", "type": ")" + std::string(type) + "\"" +
         (more.empty() ? "" : ", ") + std::string(more) + "}";
}

MapBuilder map_with(const std::vector<std::string>& items) {
  MapBuilder builder;
  builder.memory("flash", 0, 0x100).region("all", "editable", 0, 0x100);
  for (const std::string& item : items) builder.add("items", item);
  return builder;
}

// The text of the first element after `hex` was put at the beginning of the memory.
std::string shown(std::string_view type, std::string_view more, std::string_view hex) {
  const RegionMap map = map_with({item_at_zero("scalar", type, more)}).parse();
  Image image = filled_image(map);
  const Bytes bytes = from_hex(hex).value();
  std::ranges::copy(bytes, image.memories[0].span({0, bytes.size()}).begin());
  return item_value(map.items[0], image, 0).text();
}

struct Row {
  const char* type;
  const char* more;
  const char* stored;  // hexadecimal
  const char* physical;
  const char* source;
};

// ASAM MCD-2 MC: COMPU_METHOD with COEFFS_LINEAR and COEFFS, values of its examples from memory.
// IEEE 754: encodings of binary32 and binary64, from memory.
const Row kRows[] = {
    {"u8", R"("factor": "2", "offset": "0")", "15", "42", "LINEAR, COEFFS_LINEAR 2 0: physical = 2 * stored"},
    {"u8", R"("rational": ["0", "81.9175", "0", "0", "0", "1"])", "a4", "~2.002014",
     "RAT_FUNC, COEFFS 0 81.9175 0 0 0 1: stored = 81.9175 * physical; 164 / 81.9175"},
    {"u16", R"("rational": ["0", "4", "8", "0", "0", "5"])", "0400", "3",
     "RAT_FUNC, COEFFS 0 4 8 0 0 5: stored = (4 * physical + 8) / 5; (4 * 3 + 8) / 5 = 4"},
    {"u16", R"("rational": ["0", "0", "60000000", "0", "1", "0"])", "3075", "2000",
     "RAT_FUNC, stored = 60000000 / physical: 30000 us a turn"},
    {"u16", R"("rational": ["0", "0", "60000000", "0", "1", "0"])", "0000", "undefined", "division by zero"},
    {"u8", R"("offset": "-40")", "00", "-40",
     "temperature in one byte, factor 1 offset -40: common practice, no source"},
    {"u8", R"("factor": "0.1", "offset": "-0.5")", "03", "-0.2", "exact where binary arithmetic is not"},
    {"u16", R"("factor": "0.0000152587890625", "order": "big")", "0001", "0.0000152587890625", "2^-16"},
    {"s8", "", "80", "-128", "two's complement"},
    {"s16", R"("order": "big")", "fffe", "-2", "two's complement, big-endian"},
    {"s32", R"("factor": "0.25")", "00000080", "-536870912", "-2^31 / 4"},
    {"u32", R"("factor": "0.5")", "ffffffff", "2147483647.5", "2^32 - 1 halved"},
    {"f32", "", "db0f4940", "3.1415927", "binary32 next to pi"},
    {"f32", R"("order": "big")", "3f800000", "1", "binary32 one"},
    {"f32", R"("order": "big")", "00000001", "1e-45", "binary32 smallest subnormal"},
    {"f32", R"("order": "big")", "7f800000", "undefined", "infinity"},
    {"f32", R"("order": "big")", "7fc00000", "undefined", "not a number"},
    {"f64", R"("order": "big")", "400921fb54442d18", "3.141592653589793", "binary64 next to pi"},
    {"f64", R"("order": "big", "factor": "0.5")", "4000000000000000", "1", "binary64 two, halved"},
};

TEST(Items, ConvertAsWorkedExamplesSay) {
  for (const Row& row : kRows) EXPECT_EQ(shown(row.type, row.more, row.stored), row.physical) << row.source;
}

TEST(Items, DecimalsAreOneTextForOneNumber) {
  for (const char* text : {"0", "-1", "0.0625", "-40", "123456789012345678", "0.000000000000000001"})
    EXPECT_EQ(decimal_text(parse_decimal(text).value()), text);
  for (const char* text : {"", "-", "-0", "+1", "01", "1.", ".5", "1e3", "1,5", " 1", "1234567890123456789",
                           "0.0000000000000000001", "0x10"})
    EXPECT_FALSE(parse_decimal(text)) << text;
}

TEST(Items, CompareExactlyWhereProductsWouldNotFit) {
  const Quantity third = Quantity::fraction(1, 3);
  EXPECT_TRUE(third.compare(parse_decimal("0.333333333333333333").value()) > 0);
  EXPECT_TRUE(third.compare(parse_decimal("0.333333333333333334").value()) < 0);
  EXPECT_TRUE(Quantity::fraction(-1, 3).compare(parse_decimal("-0.333333333333333333").value()) < 0);
  EXPECT_TRUE(Quantity::fraction(-10, 4).compare(parse_decimal("-2.5").value()) == 0);
  Quantity::Wide large = 1;
  for (int i = 0; i < 37; ++i) large *= 10;
  EXPECT_TRUE(Quantity::fraction(large, large - 1).compare(parse_decimal("1").value()) > 0);
  EXPECT_TRUE(Quantity::fraction(large, large - 1).compare(Quantity::fraction(large + 1, large)) > 0);
}

RegionMap table_map() {
  return map_with(
             {R"({"name": "speed", "kind": "axis", "memory": "flash", "start": "0x00000000", "type": "u16",
    "points": 4, "factor": "0.25", "unit": "1/min"})",
              R"({"name": "load", "kind": "axis", "memory": "flash", "start": "0x00000008", "type": "u8", "points": 2})",
              R"({"name": "fuel", "kind": "table", "memory": "flash", "start": "0x0000000a", "type": "s8", "x": "speed",
    "y": "load", "factor": "0.5", "least": "-10", "most": "20", "unit": "mg"})",
              R"({"name": "c", "kind": "curve", "memory": "flash", "start": "0x00000040", "type": "u8", "x": "ca",
    "count": 3, "stride": 16})",
              R"({"name": "ca", "kind": "axis", "memory": "flash", "start": "0x00000048", "type": "u8", "points": 8,
    "count": 3, "stride": 16})"})
      .parse();
}

TEST(Items, TablesTakeTheirShapeFromTheirAxes) {
  const RegionMap map = table_map();
  const Item& fuel = *find_item(map, "fuel");
  EXPECT_EQ(fuel.columns, 4U);
  EXPECT_EQ(fuel.rows, 2U);
  EXPECT_EQ(map.items[*fuel.x].name, "speed");
  EXPECT_EQ(map.items[*fuel.y].name, "load");
  EXPECT_EQ(element_text(fuel, 6), "[1][2]");
  const Item& second = *find_item(map, "c[1]");
  EXPECT_EQ(map.items[*second.x].name, "ca[1]");
  EXPECT_EQ(item_at(map, 0, 0x50), &second);
  EXPECT_EQ(item_at(map, 0, 0x20), nullptr);
}

TEST(Items, DifferencesAreShownInUnits) {
  const RegionMap map = table_map();
  Image before = filled_image(map);
  Image after = before;
  byte_at(after, 0x0a + 6) = 20;
  const auto changes = compare_items(map, before, after);
  ASSERT_EQ(changes.size(), 1U);
  EXPECT_EQ(changes[0].item->name, "fuel");
  EXPECT_EQ(changes[0].elements, std::vector<std::uint64_t>{6});
  EXPECT_EQ(changes[0].before[0].text(), "-0.5");
  EXPECT_EQ(changes[0].after[0].text(), "10");
}

TEST(Items, LimitsAndAxesAreJudgedWhereARevisionTouchedThem) {
  const RegionMap map = table_map();
  Image before = filled_image(map);
  const Bytes rising = from_hex("0001000200030004").value();
  std::ranges::copy(rising, before.memories[0].span({0, 8}).begin());
  Image after = before;
  byte_at(after, 0x0a) = 41;    // 20.5 mg
  byte_at(after, 0x0b) = 40;    // 20 mg is still allowed
  byte_at(after, 0x0c) = 0x80;  // -64 mg
  byte_at(after, 0x05) = 1;     // third point falls
  const auto breaches = judge_changed_items(compare_items(map, before, after), after);
  ASSERT_EQ(breaches.size(), 3U);
  EXPECT_EQ(breach_text(breaches[0]), "speed[2] is 64 1/min, not above the point before it");
  EXPECT_EQ(breach_text(breaches[1]), "fuel[0][2] is -64 mg, below -10 mg");
  EXPECT_EQ(breach_text(breaches[2]), "fuel[0][0] is 20.5 mg, above 20 mg");
  // The load axis, all ff, does not rise; nobody touched it.
  EXPECT_FALSE(judge_item(*find_item(map, "load"), after).empty());
}

struct BadRow {
  std::string item;
  Reason reason;
};

TEST(Items, MapsThatContradictThemselvesAreRefused) {
  const BadRow kBad[] = {
      {item_at_zero("scalar", "u8", R"("factor": "1.")"), Reason::kJsonValue},
      {item_at_zero("scalar", "u8", R"("factor": "0")"), Reason::kJsonValue},
      {item_at_zero("scalar", "u8", R"("factor": 2)"), Reason::kJsonType},
      {item_at_zero("scalar", "u12"), Reason::kJsonValue},
      {item_at_zero("scalar", "u8", R"("least": "2", "most": "1")"), Reason::kJsonValue},
      {item_at_zero("scalar", "u8", R"("rational": ["1", "1", "0", "0", "0", "1"])"), Reason::kJsonValue},
      {item_at_zero("scalar", "u8", R"("rational": ["0", "1", "2", "0", "2", "4"])"), Reason::kJsonValue},
      {item_at_zero("scalar", "u8", R"("rational": ["0", "1"])"), Reason::kJsonValue},
      {item_at_zero("scalar", "u8", R"("rational": ["0", "1", "0", "0", "0", "1"], "factor": "2")"),
       Reason::kJsonUnknownKey},
      {item_at_zero("scalar", "u32", R"("factor": "123456789012345678", "offset": "0.000000000000000001")"),
       Reason::kJsonValue},
      {item_at_zero("curve", "u8", R"("x": "nowhere")"), Reason::kMapName},
      {item_at_zero("curve", "u8", R"("x": "i")"), Reason::kMapName},
      {item_at_zero("curve", "u8"), Reason::kJsonMissingKey},
      {item_at_zero("axis", "u16", R"("points": 129)"), Reason::kMapRange},
      {item_at_zero("axis", "u8", R"("points": 4, "count": 2, "stride": 3)"), Reason::kMapOverlap},
      {item_at_zero("axis", "u8", R"("points": 4, "count": 2)"), Reason::kJsonMissingKey},
      {item_at_zero("axis", "u8", R"("points": 65537)"), Reason::kJsonValue},
  };
  for (const BadRow& row : kBad)
    EXPECT_THAT(map_with({row.item}).try_parse(), FailsWith(row.reason)) << row.item;
}

}  // namespace
}  // namespace calseal
