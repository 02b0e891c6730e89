// What changed, in words: items in their units, named by their axes.
#include "calseal/report/changes/item_report.h"

#include <gtest/gtest.h>

#include "calseal/base/json_write.h"
#include "calseal/map/correct.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

// A torque table of 4 by 2 cells over speed and mass, a limit, three repeated curves, two bytes without a
// name.
RegionMap small_map() {
  MapBuilder builder;
  builder.memory("flash", 0, 0x200)
      .region("all", "editable", 0, 0x100)
      .region("learned", "volatile", 0x100, 0x10);
  builder.add("items",
              R"({"name": "speed", "kind": "axis", "memory": "flash", "start": "0x00000000", "type": "u16",
    "points": 4, "factor": "0.5", "unit": "1/min"})");
  builder.add("items",
              R"({"name": "mass", "kind": "axis", "memory": "flash", "start": "0x00000008", "type": "u8",
    "points": 2, "unit": "mg"})");
  builder.add("items",
              R"({"name": "torque-limit", "title": "torque limit", "kind": "table", "memory": "flash",
    "start": "0x00000010", "type": "u16", "x": "speed", "y": "mass", "factor": "0.1", "unit": "Nm", "most": "400"})");
  builder.add("items", R"({"name": "rev-limit", "kind": "scalar", "memory": "flash", "start": "0x00000030",
    "type": "u16", "unit": "1/min"})");
  builder.add("items", R"({"name": "c", "title": "correction", "kind": "curve", "memory": "flash",
    "start": "0x00000040", "type": "s8", "points": 6, "count": 3, "stride": 8})");
  builder.field("mark", "revision-mark", 0x80, 4, "ascii");
  builder.patch("lamp", 0x120, "0a", "14");
  builder.checksum("sum", kCrc16, {range_at(0, 0x100)}, {slot_at(0x140, 2)});
  builder.copy("twin", 0x160, 0x60, 8);
  return builder.parse();
}

void put_word(Image& image, std::uint64_t at, std::uint16_t value) {
  byte_at(image, at) = static_cast<std::uint8_t>(value);
  byte_at(image, at + 1) = static_cast<std::uint8_t>(value >> 8);
}

class ItemReport : public testing::Test {
 protected:
  ItemReport() : before_(filled_image(map_)) {
    const std::uint16_t speeds[] = {2000, 4000, 5600, 8000};  // halves of 1/min
    for (std::uint64_t i = 0; i < 4; ++i) put_word(before_, 2 * i, speeds[i]);
    byte_at(before_, 8) = 25;
    byte_at(before_, 9) = 50;
    for (std::uint64_t i = 0; i < 8; ++i) put_word(before_, 0x10 + 2 * i, 3000);
    put_word(before_, 0x30, 5800);
    for (std::uint64_t at = 0x40; at < 0x58; ++at) byte_at(before_, at) = 0;
    put_text(before_, 0x80, "A1  ");
    byte_at(before_, 0x120) = 0x0a;
    before_ = corrected(before_);
    after_ = before_;
  }

  Image corrected(Image image) const {
    const auto plan = make_plan(map_, image);
    EXPECT_TRUE(correct(*plan, image));
    return image;
  }

  std::string text(std::size_t width = 80, const ShownItems& shown = kFirstItems) const {
    const auto plan = make_plan(map_, before_);
    const Confinement proof = prove_confinement(*plan, before_, after_);
    const ChangesByItem changes = changes_by_item(*plan, before_, after_, proof.changes);
    Page page;
    page.width = width;
    return item_report_text({map_, before_, after_, changes}, *plan, proof.checks, page, shown);
  }

  const RegionMap map_ = small_map();
  Image before_, after_;
};

TEST_F(ItemReport, NamesCellsByTheirAxes) {
  put_word(after_, 0x10 + 2 * 6, 3120);
  put_word(after_, 0x10 + 2 * 7, 3020);
  put_word(after_, 0x30, 6000);
  after_ = corrected(after_);
  EXPECT_EQ(text(), R"(items
  torque-limit (torque limit): 2 of 8 cells, +2 to +12 Nm, mean +7
      2,800 1/min, 50 mg  300  ->  312  Nm  (+12)
      4,000 1/min, 50 mg  300  ->  302  Nm  (+2)
  rev-limit: 5,800 -> 6,000 1/min (+200)

  derived    2 bytes of 1 checksum, corrected
)");
}

TEST_F(ItemReport, NothingChangedIsNoText) { EXPECT_EQ(text(), ""); }

TEST_F(ItemReport, SaysThatAnAxisChangedAndClaimsNoCellThatWasNotThere) {
  put_word(after_, 4, 6000);
  put_word(after_, 0x10 + 2 * 2, 3010);
  put_word(after_, 0x10 + 2 * 3, 3010);
  EXPECT_EQ(text(), R"(items
  speed: 1 of 4 points, +200 1/min; axis of torque-limit
      [2]  2,800  ->  3,000  1/min  (+200)
  torque-limit (torque limit): 2 of 8 cells, each +1 Nm; its axis changed too
      2,800 -> 3,000 1/min, 25 mg  300  ->  301  Nm  (+1)
      4,000 1/min, 25 mg           300  ->  301  Nm  (+1)
)");
}

TEST_F(ItemReport, NumbersCellsWhereAnAxisNamesNone) {
  put_word(after_, 4, 9000);  // above the point after it
  put_word(after_, 0x10 + 2 * 6, 3010);
  EXPECT_THAT(text(), testing::HasSubstr("      [1][2]  300  ->  301  Nm  (+1)\n"));
  forget(before_, 4, 2);
  after_ = before_;
  put_word(after_, 0x10 + 2 * 6, 3010);
  EXPECT_THAT(text(), testing::HasSubstr("      [1][2]  300  ->  301  Nm  (+1)\n"));
}

TEST_F(ItemReport, AddsUpARepetitionAndSaysWhatItLeavesOut) {
  for (std::uint64_t i = 0; i < 6; ++i) byte_at(after_, 0x40 + i) = static_cast<std::uint8_t>(i + 1);
  for (std::uint64_t i = 0; i < 6; ++i) byte_at(after_, 0x50 + i) = 0xfd;
  EXPECT_EQ(text(), R"(items
  c (correction): 2 of 3 changed; 12 of their 12 points, -3 to +6, mean +0.3
    c[0]: 6 of 6 points, +1 to +6, mean +3.5
    c[2]: 6 of 6 points, each -3
)");
  EXPECT_THAT(text(80, kAllItems), testing::HasSubstr("        [5]  0  ->  -3  (-3)\n"));
  for (std::uint64_t i = 0; i < 6; ++i) byte_at(after_, 0x50 + i) = 0;
  EXPECT_EQ(text(80, {2, "--json lists them"}), R"(items
  c[0] (correction): 6 of 6 points, +1 to +6, mean +3.5
      [0]  0  ->  1  (+1)
      [1]  0  ->  2  (+2)
      and 4 more values (--json lists them)
)");
}

TEST_F(ItemReport, AddsUpWhatNoItemNames) {
  byte_at(after_, 0x62) = 1;  // original of a copy
  byte_at(after_, 0x70) = 2;
  put_text(after_, 0x80, "A2");
  byte_at(after_, 0x104) = 3;
  byte_at(after_, 0x120) = 0x14;
  byte_at(after_, 0x130) = 4;
  EXPECT_EQ(text(), R"(  text       mark: "A1" -> "A2"
  patch      1 byte of permitted patches: lamp
  not named  2 bytes in 2 places that no item names
  vehicle    1 byte that belong to the vehicle
  locked     1 byte that no revision may change
)");
  put_word(after_, 0x140, 0x1234);
  EXPECT_THAT(text(), testing::HasSubstr("2 bytes of 1 checksum, of which 1 is not right yet\n"));
  byte_at(after_, 0x130) = 0xff;
  after_ = corrected(after_);
  EXPECT_THAT(text(), testing::HasSubstr("3 bytes of 1 checksum and 1 copy, corrected\n"));
}

TEST_F(ItemReport, WarnsOfValuesPastTheirLimits) {
  put_word(after_, 0x10, 4010);
  EXPECT_THAT(text(), testing::HasSubstr("  limit      torque-limit[0][0] is 401 Nm, above 400 Nm\n"));
}

TEST_F(ItemReport, FitsANarrowPage) {
  for (std::uint64_t i = 0; i < 8; ++i) put_word(after_, 0x10 + 2 * i, static_cast<std::uint16_t>(3000 + i));
  put_word(after_, 0, 2001);
  const std::string all = text(kPageWidthLeast, kAllItems);
  for (std::size_t at = 0; at < all.size();) {
    const std::size_t end = all.find('\n', at);
    EXPECT_LE(end - at, std::size_t{80}) << all.substr(at, end - at);
    at = end + 1;
  }
}

TEST_F(ItemReport, SumsUpInOneLineAnItem) {
  put_word(after_, 0x10, 3015);
  put_word(after_, 0x30, 6000);
  byte_at(after_, 0x40) = 1;
  byte_at(after_, 0x48) = 2;
  put_text(after_, 0x80, "A2");
  const auto plan = make_plan(map_, before_);
  EXPECT_EQ(item_summaries(changes_by_item(*plan, before_, after_, compare_images(*plan, before_, after_))),
            (std::vector<std::string>{
                "torque limit: 1 of 8 cells, +1.5 Nm", "rev-limit: 5,800 -> 6,000 1/min (+200)",
                "correction (2 of 3): 2 of their 12 points, +1 to +2, mean +1.5", R"(mark: "A1" -> "A2")"}));
}

TEST_F(ItemReport, GivesProgramsExactValues) {
  put_word(after_, 4, 6000);
  put_word(after_, 0x10 + 2 * 2, 3010);
  after_ = corrected(after_);
  const auto plan = make_plan(map_, before_);
  const ChangesByItem changes =
      changes_by_item(*plan, before_, after_, compare_images(*plan, before_, after_));
  const std::string json = canonical_json(item_report_json({map_, before_, after_, changes}, *plan));
  EXPECT_THAT(json, testing::HasSubstr(R"("elements":[{"element":2,"before":"300","after":"301","x":"2800",)"
                                       R"("x_after":"3000","y":"25"}],"elements_left_out":0)"));
  EXPECT_THAT(json, testing::HasSubstr(R"("movement":{"changed":1,"of":8,"without_value":0,"least":"1",)"
                                       R"("most":"1","mean":"1"})"));
  EXPECT_THAT(json, testing::HasSubstr(R"("derived_bytes":2,"derived":["sum"])"));
}

}  // namespace
}  // namespace calseal
