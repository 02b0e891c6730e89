// An image kept correct through edits: rules, circles, unknown bytes, and what stands after a refusal.
#include "calseal/map/corrected_image.h"

#include <gtest/gtest.h>

#include <algorithm>

#include "support/check_reference.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kSize = 0x400;

MapBuilder flash() {
  MapBuilder builder;
  builder.memory("flash", 0, kSize);
  return builder;
}

Edit edit_at(std::uint64_t at, Bytes bytes) { return {{0, {at, at + bytes.size()}}, std::move(bytes)}; }

// A copy is corrected where it must be, so one name may come several times in a row.
std::vector<std::string> names_of(const CorrectionReport& report) {
  std::vector<std::string> names;
  for (const Correction& correction : report.corrections) names.push_back(correction.name);
  names.erase(std::unique(names.begin(), names.end()), names.end());
  return names;
}

// Random edits, each time compared with correction of the whole.
void expect_equals_correct(const RegionMap& map, std::uint64_t last_edited = kSize) {
  Random random;
  Image whole = random_image(map, random);
  const auto plan = make_plan(map, whole);
  ASSERT_THAT(plan, IsOk());
  auto kept = CorrectedImage::make(*plan, whole);
  ASSERT_THAT(kept, IsOk());
  ASSERT_THAT(correct(*plan, whole), IsOk());
  for (int step = 0; step < 60; ++step) {
    const std::uint64_t size = random.between(1, 9);
    const Edit edit =
        edit_at(random.between(0, last_edited - size), random.bytes(static_cast<std::size_t>(size)));
    std::ranges::copy(edit.bytes, whole.memories[0].span(edit.place.range).begin());
    const auto report = kept->edit({edit});
    ASSERT_THAT(report, IsOk());
    const auto expected = correct(*plan, whole);
    ASSERT_THAT(expected, IsOk());
    ASSERT_TRUE(same_bytes(kept->image(), whole)) << "step " << step;
    ASSERT_EQ(reference::first_wrong(map, kept->image()), "");
    ASSERT_EQ(names_of(*report), names_of(*expected)) << "step " << step;
  }
}

std::string rule(std::string_view equals, std::string_view balance) {
  return R"("rule": {"equals": )" + std::string(equals) + R"(, "balance": )" + std::string(balance) + "}";
}

TEST(CorrectedImage, KeepsSumsAtTheirTarget) {
  for (const std::string order : {"little", "big"}) {
    for (const std::string unit : {"8", "16", "32", "64"}) {
      const std::string size = std::to_string(std::stoi(unit) / 8);
      expect_equals_correct(flash()
                                .checksum("sum",
                                          R"({"sum": {"unit": )" + unit + R"(, "order": ")" + order +
                                              R"(", "accumulator": )" + unit + "}}",
                                          {range_at(0, kSize)}, {},
                                          rule("165", slot_at(0x200, std::stoull(size))))
                                .parse());
    }
  }
}

TEST(CorrectedImage, KeepsOtherRules) {
  expect_equals_correct(flash()
                            .checksum("xor", R"({"sum": {"unit": 32, "operation": "xor"}})",
                                      {range_at(0, kSize)}, {}, rule("77", slot_at(0x204, 4)))
                            .parse());
  expect_equals_correct(flash()
                            .checksum("around", R"({"sum": {"unit": 16, "operation": "add-end-around"}})",
                                      {range_at(0, kSize)}, {}, rule("77", slot_at(0x204, 2)))
                            .parse());
  expect_equals_correct(
      flash().checksum("crc", kCrc32, {range_at(0, kSize)}, {}, rule("77", slot_at(0x204, 4))).parse());
}

TEST(CorrectedImage, KeepsWhatDependsOnAnother) {
  expect_equals_correct(flash()
                            .checksum("a", kCrc32, {range_at(0, 0x300)}, {slot_at(0x300, 4)})
                            .checksum("b", kCrc32, {range_at(0x300, 0x40)}, {slot_at(0x340, 4)})
                            .copy("c", 0x380, 0x300, 0x50, R"("transform": "complement")")
                            .parse());
}

TEST(CorrectedImage, KeepsCircles) {
  const std::string xor16 = R"({"sum": {"unit": 16, "order": "big", "operation": "xor"}})";
  const RegionMap map =
      flash()
          .checksum("a", xor16, {range_at(0, 0x11)}, {slot_at(0x20, 1)}, R"("bits": 8)")
          .checksum("b", R"({"crc": "CRC-8/SMBUS"})", {range_at(0x20, 2)}, {slot_at(0x0e, 1)})
          .checksum("over", kCrc32, {range_at(0, 0x300)}, {slot_at(0x300, 4)})
          .parse();
  expect_equals_correct(map);
}

TEST(CorrectedImage, CountsBytesThatAreCoveredTwice) {
  expect_equals_correct(
      flash()
          .checksum("twice", kCrc32, {range_at(0, 0x80), range_at(0x40, 0x80)}, {slot_at(0x300, 4)})
          .parse());
}

TEST(CorrectedImage, LeavesAloneWhatUnknownBytesDecide) {
  const RegionMap map = flash()
                            .checksum("whole", kCrc32, {range_at(0, 0x200)}, {slot_at(0x300, 4)})
                            .checksum("part", kCrc32, {range_at(0, 0x100)}, {slot_at(0x304, 4)})
                            .parse();
  Random random;
  Image image = random_image(map, random);
  image.memories[0].known.remove({0x180, 0x181});
  const Plan plan = make_plan(map, image).value();
  auto kept = CorrectedImage::make(plan, image);
  ASSERT_THAT(kept, IsOk());
  const auto report = kept->edit({edit_at(0x10, {1, 2, 3})});
  ASSERT_THAT(report, IsOk());
  EXPECT_EQ(report->not_provable, std::vector<std::string>{"whole"});
  ASSERT_EQ(report->corrections.size(), 1U);
  EXPECT_EQ(report->corrections[0].name, "part");
}

TEST(CorrectedImage, StandsAsBeforeWhenAnEditCannotBeCorrected) {
  const RegionMap map =
      flash()
          .checksum("slot", kCrc32, {range_at(0, 0x100)}, {slot_at(0x300, 4)})
          .checksum("fixed", kCrc32, {range_at(0x300, 4)}, {}, R"("rule": {"equals": 558161692})")
          .parse();
  // CRC-32 of four bytes of 00 is 0x2144df1c (zlib's crc32 says the same).
  Random random;
  Image image = random_image(map, random);
  const Plan plan = make_plan(map, image).value();
  // Four bytes of the data are set so that the slot is 0.
  const Crc crc = crc_of(map.checksums[0].algorithm.crc);
  const ByteView data = image.memories[0].view({0, 0x100});
  const auto force = force_crc(crc, 0x100, {0, 1, 2, 3}, crc.compute(data), 0);
  ASSERT_THAT(force, IsOk());
  for (std::size_t i = 0; i < 4; ++i) image.memories[0].bytes[i] ^= (*force)[i];
  auto kept = CorrectedImage::make(plan, image);
  ASSERT_THAT(kept, IsOk());
  const Image before = kept->image();
  EXPECT_THAT(kept->edit({edit_at(0x20, {9, 9, 9})}), FailsWith(Reason::kChecksumFails));
  EXPECT_TRUE(same_bytes(kept->image(), before));
  // The values kept are those of before, too: undoing nothing changes nothing.
  const auto again = kept->edit({edit_at(
      0x20, Bytes(before.memories[0].bytes.begin() + 0x20, before.memories[0].bytes.begin() + 0x23))});
  ASSERT_THAT(again, IsOk());
  EXPECT_TRUE(again->corrections.empty());
  EXPECT_TRUE(same_bytes(kept->image(), before));
}

}  // namespace
}  // namespace calseal
