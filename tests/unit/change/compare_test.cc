// Where two images differ, cut at what decides over the bytes.
#include "calseal/change/compare.h"

#include <gtest/gtest.h>

#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

TEST(DifferingRanges, AreExactAscendingAndApart) {
  Random random;
  for (const std::size_t size : {0, 1, 7, 4095, 4096, 4097, 12000}) {
    const Bytes a = random.bytes(size);
    Bytes b = a;
    std::vector<Range> wanted;
    for (std::size_t i = 0; i < size; ++i) {
      if (random.between(0, 2) != 0 && i != 4095 && i != 4096) continue;
      b[i] = static_cast<std::uint8_t>(b[i] + 1);
      if (!wanted.empty() && wanted.back().end == i) {
        ++wanted.back().end;
      } else {
        wanted.push_back({i, i + 1});
      }
    }
    EXPECT_EQ(differing_ranges(a, b), wanted) << size;
    EXPECT_TRUE(differing_ranges(a, a).empty());
  }
}

struct Sample {
  RegionMap map =
      MapBuilder()
          .memory("flash", 0, 0x200)
          .memory("eeprom", 0, 0x40)
          .region("a", "editable", 0x20, 0x10)
          .region("b", "editable", 0x30, 0x20)
          .region("learned", "volatile", 0x00, 0x10, "eeprom")
          .patch("p", 0x100, "ffffff", "010203")
          .add("manufacturer_signed", R"({"name": "boot", "places": [)" + range_at(0x110, 0x10) + "]}")
          .checksum("c", kCrc32, {range_at(0x20, 0x10)}, {slot_at(0x40, 4)})
          .field("vin", "vin", 0x180, 17, "ascii", R"("binds": true)")
          .parse();
  Image before = filled_image(map);
  Image after = before;
  Plan plan = make_plan(map, before).value();

  void flip(std::uint64_t from, std::uint64_t size, std::size_t memory = 0) {
    for (std::uint64_t a = from; a < from + size; ++a) byte_at(after, a, memory) ^= 0x5a;
  }
  std::vector<std::string> texts(const std::vector<ChangedRange>& changes) const {
    std::vector<std::string> out;
    for (const ChangedRange& c : changes) {
      out.push_back(place_text(map, c.place) + " " + std::string(span_kind_name(c.kind)) + " " + c.region +
                    " " + c.owner);
    }
    return out;
  }
};

TEST(Compare, CutsAtRegionsOwnersAndMemories) {
  Sample s;
  s.flip(0x1e, 0x30);
  s.flip(0x0fe, 0x28);
  s.flip(0x17f, 2);
  s.flip(0x0f, 2, 1);
  EXPECT_EQ(s.texts(compare_images(s.plan, s.before, s.after)),
            (std::vector<std::string>{
                "flash 0x0000001e-0x0000001f locked  ",
                "flash 0x00000020-0x0000002f editable a ",
                "flash 0x00000030-0x0000003f editable b ",
                "flash 0x00000040-0x00000043 derived b c",
                "flash 0x00000044-0x0000004d editable b ",
                "flash 0x000000fe-0x000000ff locked  ",
                "flash 0x00000100-0x00000102 locked  p",
                "flash 0x00000103-0x0000010f locked  ",
                "flash 0x00000110-0x0000011f locked  boot",
                "flash 0x00000120-0x00000125 locked  ",
                "flash 0x0000017f locked  ",
                "flash 0x00000180 binding  vin",
                "eeprom 0x0000000f volatile learned ",
                "eeprom 0x00000010 locked  ",
            }));
}

TEST(Compare, LooksOnlyAtBytesThatBothKnow) {
  Sample s;
  s.flip(0x20, 0x10);
  forget(s.before, 0x22, 2);
  forget(s.after, 0x28, 1);
  EXPECT_EQ(s.texts(compare_images(s.plan, s.before, s.after)),
            (std::vector<std::string>{"flash 0x00000020-0x00000021 editable a ",
                                      "flash 0x00000024-0x00000027 editable a ",
                                      "flash 0x00000029-0x0000002f editable a "}));
}

TEST(Compare, EqualImagesHaveNoChanges) {
  const Sample s;
  EXPECT_TRUE(compare_images(s.plan, s.before, s.after).empty());
}

TEST(Coalesce, JoinsNeighboursOfOneRegionKindAndOwner) {
  Sample s;
  for (const std::uint64_t at : {0x20, 0x22, 0x2f, 0x30, 0x48}) s.flip(at, 1);
  s.flip(0x41, 1);
  s.flip(0x43, 1);
  const auto changes = compare_images(s.plan, s.before, s.after);
  EXPECT_EQ(
      s.texts(coalesce(changes, 12)),
      (std::vector<std::string>{"flash 0x00000020-0x0000002f editable a ", "flash 0x00000030 editable b ",
                                "flash 0x00000041-0x00000043 derived b c", "flash 0x00000048 editable b "}));
  EXPECT_EQ(coalesce(changes, 11).size(), 5U);
  EXPECT_EQ(coalesce(changes, 0).size(), changes.size());
  EXPECT_TRUE(coalesce({}).empty());
}

TEST(RegionAt, FindsTheRegionOrNothing) {
  const Sample s;
  EXPECT_EQ(region_at(s.map, 0, 0x1f), "");
  EXPECT_EQ(region_at(s.map, 0, 0x20), "a");
  EXPECT_EQ(region_at(s.map, 0, 0x2f), "a");
  EXPECT_EQ(region_at(s.map, 0, 0x30), "b");
  EXPECT_EQ(region_at(s.map, 0, 0x50), "");
  EXPECT_EQ(region_at(s.map, 1, 0x00), "learned");
  EXPECT_EQ(region_at(s.map, 1, 0x10), "");
}

// The sum tells the same as the list of all ranges, without keeping it.
TEST(Compare, SumOfDifferences) {
  const auto expect_same = [](const Bytes& a, const Bytes& b) {
    const std::vector<Range> ranges = differing_ranges(a, b);
    std::uint64_t bytes = 0;
    for (const Range& range : ranges) bytes += range.size();
    const DifferenceSum sum = sum_differences(a, b);
    EXPECT_EQ(sum.bytes, bytes);
    EXPECT_EQ(sum.first, ranges.empty() ? Range{} : ranges.front());
  };
  // All pairs of equal and different bytes in a row of ten.
  const Bytes a(10, 0x11);
  for (unsigned mask = 0; mask < 1024; ++mask) {
    Bytes b = a;
    for (std::size_t i = 0; i < b.size(); ++i) {
      if ((mask >> i & 1U) != 0) b[i] = 0x22;
    }
    expect_same(a, b);
  }
  expect_same({}, {});
}

}  // namespace
}  // namespace calseal
