// Values of items as people read them.
#include "calseal/map/item_words.h"

#include <gtest/gtest.h>

#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

struct Row {
  const char* type;
  const char* more;
  const char* stored;  // hexadecimal, little-endian
  const char* words;
};

const Row kRows[] = {
    {"u16", "", "f00a", "2,800"},
    {"s32", R"("factor": "0.5")", "01000080", "-1,073,741,823.5"},
    {"u16", R"("factor": "0.1")", "a80c", "324"},
    {"u16", R"("factor": "0.0625")", "0100", "0.0625"},
    {"u16", R"("factor": "0.0000152587890625")", "ff7f", "0.499985"},  // 0.4999847412109375
    {"u8", R"("rational": ["0", "81.9175", "0", "0", "0", "1"])", "a4", "2.002"},
    {"u16", R"("rational": ["0", "0", "60000000", "0", "1", "0"])", "3175", "1,999.933"},
    {"u16", R"("rational": ["0", "0", "60000000", "0", "1", "0"])", "0000", "undefined"},
    {"f32", "", "0000a243", "324"},
    {"f32", "", "cdcccc3d", "0.1"},
    {"f32", R"("factor": "0.1")", "00004040", "0.3"},
    {"f32", "", "00247449", "1,000,000"},
    {"f32", "", "01000000", "1e-45"},
    {"f32", "", "0000807f", "undefined"},
    {"f64", R"("factor": "0.1")", "0000000000000840", "0.3"},  // binary arithmetic gives 0.30000000000000004
    {"f64", "", "000000205fa002c2", "-10,000,000,000"},
};

TEST(ItemWords, HaveTheDecimalsThatTheConversionNeeds) {
  for (const Row& row : kRows) {
    MapBuilder builder;
    builder.memory("flash", 0, 16).region("all", "editable", 0, 16);
    builder.add("items",
                R"({"name": "i", "kind": "scalar", "memory": "flash", "start": "0x00000000", "type": ")" +
                    std::string(row.type) + "\"" + (*row.more == '\0' ? "" : ", ") + row.more + "}");
    const RegionMap map = builder.parse();
    Image image = filled_image(map);
    put_bytes(image, 0, from_hex(row.stored).value());
    EXPECT_EQ(number_words(item_value(map.items[0], image, 0), places_needed(map.items[0], image, 0)),
              row.words)
        << row.type << " " << row.more << " " << row.stored;
  }
}

TEST(ItemWords, DifferencesHaveASign) {
  const auto words = [](std::int64_t over, std::int64_t under, int places) {
    return difference_words(Quantity::fraction(over, under), places);
  };
  EXPECT_EQ(words(12, 1, 0), "+12");
  EXPECT_EQ(words(-1234567, 1, 0), "-1,234,567");
  EXPECT_EQ(words(1, 3, 2), "+0.33");
  EXPECT_EQ(words(-2, 3, 2), "-0.67");
  EXPECT_EQ(words(5, 2, 0), "+3");  // half away from zero
  EXPECT_EQ(words(-5, 2, 0), "-3");
  EXPECT_EQ(words(9996, 10000, 3), "+1");
  EXPECT_EQ(words(1, 3000, 2), "0");
  EXPECT_EQ(words(0, 1, 4), "0");
}

TEST(ItemWords, ArithmeticIsExactOrSaysNothing) {
  const Quantity third = Quantity::fraction(1, 3), half = Quantity::fraction(1, 2);
  EXPECT_EQ(half.minus(third).plus(third).text(), "0.5");
  EXPECT_EQ(half.divided_by(3).plus(half.divided_by(6)).text(), "0.25");
  EXPECT_FALSE(half.minus(Quantity::floating(0.5, true)).is_defined());
  EXPECT_FALSE(half.plus(Quantity()).is_defined());
  Quantity::Wide large = 1;
  for (int i = 0; i < 37; ++i) large *= 10;
  EXPECT_FALSE(Quantity::fraction(1, large).plus(Quantity::fraction(1, large - 1)).is_defined());
  EXPECT_FALSE(Quantity::fraction(large, 1).plus(Quantity::fraction(1, 1000000)).is_defined());
  EXPECT_EQ(Quantity::fraction(1, large).rounded_text(2), "0");
}

TEST(ItemWords, ARepetitionHasOneName) {
  Item item;
  item.name = "curve[12]";
  EXPECT_EQ(declared_name(item), "curve");
  item.name = "idle";
  EXPECT_EQ(declared_name(item), "idle");
}

}  // namespace
}  // namespace calseal
