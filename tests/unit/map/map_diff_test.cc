#include "calseal/study/map_diff.h"

#include <gtest/gtest.h>

#include "support/map_builder.h"

namespace calseal {
namespace {

using Kind = DeclarationChange::Kind;
using How = DeclarationChange::How;

MapBuilder base() {
  MapBuilder builder;
  builder.memory("flash", 0, 0x1000).region("tables", "editable", 0x400, 0x100);
  return builder;
}

MapBuilder with_checksum(std::string_view algorithm, std::uint64_t from) {
  MapBuilder builder = base();
  builder.checksum("tables", algorithm, {range_at(from, 0x100)}, {slot_at(0x20, 4)});
  return builder;
}

TEST(MapDiff, OneMapDiffersInNothing) {
  const RegionMap map = with_checksum(kCrc32, 0x400).parse();
  const MapDiff diff = diff_region_maps(map, map);
  EXPECT_TRUE(diff.policies.empty());
  EXPECT_TRUE(diff.declarations.empty());
  EXPECT_FALSE(diff.widens);
}

TEST(MapDiff, ALargerEditableRegionWidensAndTheWayBackDoesNot) {
  const RegionMap narrow = base().parse();
  const RegionMap wide =
      MapBuilder().memory("flash", 0, 0x1000).region("tables", "editable", 0x400, 0x180).parse();
  const MapDiff there = diff_region_maps(narrow, wide);
  ASSERT_EQ(there.policies.size(), 1U);
  EXPECT_EQ(there.policies[0].range, (Range{0x500, 0x580}));
  EXPECT_EQ(there.policies[0].before, Policy::kLocked);
  EXPECT_EQ(there.policies[0].after, Policy::kEditable);
  EXPECT_TRUE(there.widens);
  const MapDiff back = diff_region_maps(wide, narrow);
  ASSERT_EQ(back.policies.size(), 1U);
  EXPECT_FALSE(back.widens);
}

TEST(MapDiff, AVolatileRegionInLockedBytesWidens) {
  const RegionMap after = base().region("learned", "volatile", 0x800, 0x10).parse();
  EXPECT_TRUE(diff_region_maps(base().parse(), after).widens);
}

TEST(MapDiff, AChecksumTakenAwayWidens) {
  const MapDiff diff = diff_region_maps(with_checksum(kCrc32, 0x400).parse(), base().parse());
  ASSERT_EQ(diff.declarations.size(), 1U);
  EXPECT_EQ(diff.declarations[0].kind, Kind::kChecksum);
  EXPECT_EQ(diff.declarations[0].how, How::kRemoved);
  EXPECT_TRUE(diff.declarations[0].widens);
}

TEST(MapDiff, AChecksumThatCoversElsewhereOrComputesOtherwiseIsChanged) {
  const RegionMap before = with_checksum(kCrc32, 0x400).parse();
  for (const RegionMap& after :
       {with_checksum(kCrc32, 0x300).parse(), with_checksum(R"({"crc": "CRC-32/BZIP2"})", 0x400).parse()}) {
    const MapDiff diff = diff_region_maps(before, after);
    EXPECT_TRUE(diff.policies.empty());
    ASSERT_EQ(diff.declarations.size(), 1U);
    EXPECT_EQ(diff.declarations[0].how, How::kChanged);
    EXPECT_TRUE(diff.widens);
  }
}

TEST(MapDiff, APatchAddedWidensAndTakenAwayDoesNot) {
  const RegionMap with = base().patch("limit", 0x100, "00", "01").parse();
  EXPECT_TRUE(diff_region_maps(base().parse(), with).widens);
  const MapDiff back = diff_region_maps(with, base().parse());
  EXPECT_EQ(back.declarations.size(), 1U);
  EXPECT_FALSE(back.widens);
}

TEST(MapDiff, ABindingFieldTakenAwayWidens) {
  const RegionMap with = base().field("serial", "serial", 0x30, 8, "ascii", R"("binds": true)").parse();
  EXPECT_TRUE(diff_region_maps(with, base().parse()).widens);
  EXPECT_FALSE(diff_region_maps(base().parse(), with).widens);
}

// Limits are there to stop a value that is not sane.
TEST(MapDiff, AnItemWithOtherLimitsOrNoneWidens) {
  const auto with_items = [](const std::string& items) {
    const std::string text = R"({"calseal":"region-map/1","name":"m","controller":"engine","version":1,
"memories":[{"name":"flash","origin":"0x00000000","size":4096}],
"recognise":{"all":[{"memory":"flash","at":"0x00000000","bytes":"00"}]},
"regions":[{"name":"tables","memory":"flash","start":"0x00000400","size":256,"policy":"editable"}],
"items":[)" + items + R"(],"evidence":{"author":"tests","verified_on":[],"guesses":[],"grade":"draft"}})";
    auto map = parse_region_map(Bytes(text.begin(), text.end()), "m.json");
    if (!map) throw std::runtime_error(map.error().place + " " + map.error().found);
    return *std::move(map);
  };
  const std::string item =
      R"({"name":"limit","memory":"flash","start":"0x00000400","kind":"scalar","type":"u8","least":"0","most":"100"})";
  const RegionMap before = with_items(item);
  EXPECT_TRUE(diff_region_maps(before, with_items(item)).declarations.empty());
  std::string looser = item;
  looser.replace(looser.find("\"100\""), 5, "\"200\"");
  for (const RegionMap& after : {with_items(looser), with_items("")}) {
    const MapDiff diff = diff_region_maps(before, after);
    ASSERT_EQ(diff.declarations.size(), 1U);
    EXPECT_EQ(diff.declarations[0].kind, Kind::kItem);
    EXPECT_TRUE(diff.widens);
  }
  EXPECT_FALSE(diff_region_maps(with_items(""), before).widens);
}

}  // namespace
}  // namespace calseal
