#include "calseal/map/map_diff.h"

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

MapBuilder with_field(std::string_view pattern, std::string_view binds) {
  return base().field("serial", "serial", 0x30, 8, "ascii",
                      R"("binds": )" + std::string(binds) + R"(, "pattern": )" + in_quotes(pattern));
}

struct Step {
  const char* name;
  MapBuilder before, after;
  bool widens, back_widens;
};

// Each rule of "Two maps compared", there and back.
TEST(MapDiff, WidensExactlyWhereTheRulesSaySo) {
  const auto region = [](std::string_view policy) {
    return MapBuilder().memory("flash", 0, 0x1000).region("tables", policy, 0x400, 0x100);
  };
  const auto derived = [] {
    return base().checksum("tables", kCrc32, {range_at(0x400, 0x100)}, {slot_at(0x800, 4)});
  };
  const auto volatile_there = [] {
    return base()
        .region("learned", "volatile", 0x800, 4)
        .checksum("tables", kCrc32, {range_at(0x400, 0x100)}, {slot_at(0x900, 4)});
  };
  const auto copy = [](std::string_view more) { return base().copy("mirror", 0x900, 0x400, 4, more); };
  const auto signed_part = [](std::uint64_t at) {
    return base().add("manufacturer_signed", R"({"name": "boot", "places": [)" + range_at(at, 0x10) + "]}");
  };
  const auto recognised = [](std::string_view byte) {
    return base().recognise(R"({"all": [{"memory": "flash", "at": "0x00000000", "bytes": )" +
                            in_quotes(byte) + "}]}");
  };
  const auto sectors = [](std::uint64_t size, std::uint64_t count) {
    return base().add("erase_sectors", R"({"memory": "flash", "start": "0x00000000", "size": )" +
                                           std::to_string(size) + R"(, "count": )" + std::to_string(count) +
                                           "}");
  };
  const auto eeprom = [](std::uint64_t size, std::string_view more) {
    return base().memory("eeprom", 0, size, more);
  };
  const std::vector<Step> steps = {
      {"locked to editable", region("locked"), region("editable"), true, false},
      {"locked to volatile", region("locked"), region("volatile"), true, false},
      {"volatile to editable", region("volatile"), region("editable"), true, false},
      {"locked to derived, with its checksum", base(), derived(), true, true},
      {"derived to volatile: and derived elsewhere", derived(), volatile_there(), true, true},
      {"a memory of its own", base(), eeprom(64, ""), true, true},
      {"a larger memory", eeprom(64, ""), eeprom(128, ""), true, true},
      {"another fill", eeprom(64, ""), eeprom(64, R"("fill": "00")"), true, true},
      {"the default written out", eeprom(64, ""), eeprom(64, R"("fill": "ff")"), false, false},
      {"holes that count as known", eeprom(64, ""), eeprom(64, R"("hole_is_fill": true)"), true, true},
      {"segments", eeprom(64, ""), eeprom(64, R"("segments": [{"start": "0x00000000", "size": 32}])"), true,
       true},
      {"a patch", base(), base().patch("limit", 0x100, "00", "01"), true, false},
      {"another patch", base().patch("limit", 0x100, "00", "01"), base().patch("limit", 0x100, "00", "02"),
       true, true},
      {"a copy transformed otherwise", copy(""), copy(R"("transform": "complement")"), true, true},
      {"a copy's default written out", copy(""), copy(R"("transform": "plain")"), false, false},
      {"a signed part", base(), signed_part(0x600), false, true},
      {"a signed part elsewhere", signed_part(0x600), signed_part(0x610), true, true},
      {"a binding field", base(), with_field("*", "true"), false, true},
      {"another pattern", with_field("########", "true"), with_field("*", "true"), true, true},
      {"recognition", base(), recognised("00"), false, true},
      {"recognised otherwise", recognised("00"), recognised("01"), true, true},
      {"erase sectors", base(), sectors(0x400, 4), false, true},
      {"other erase sectors", sectors(0x400, 4), sectors(0x800, 2), true, true},
      {"an algorithm by its parameters", with_checksum(kCrc32, 0x400),
       with_checksum(R"({"crc": {"width": 32, "poly": "0x04c11db7", "init": "0xffffffff", "refin": true,
                                 "refout": true, "xorout": "0xffffffff"}})",
                     0x400),
       false, false},
  };
  for (const Step& step : steps) {
    SCOPED_TRACE(step.name);
    const RegionMap before = step.before.parse(), after = step.after.parse();
    EXPECT_EQ(diff_region_maps(before, after).widens, step.widens);
    EXPECT_EQ(diff_region_maps(after, before).widens, step.back_widens);
  }
}

TEST(MapDiff, AFieldThatDoesNotBindMayGoButNotChange) {
  const auto with = [](std::string_view pattern) {
    return base()
        .field("hardware", "hardware-number", 0x30, 8, "ascii", R"("pattern": )" + in_quotes(pattern))
        .parse();
  };
  EXPECT_FALSE(diff_region_maps(with("*"), base().parse()).widens);
  EXPECT_TRUE(diff_region_maps(with("########"), with("*")).widens);
}

// A memory that stands elsewhere in the list is the same memory.
TEST(MapDiff, MemoriesAreMatchedByName) {
  const auto sectors = [](MapBuilder builder) {
    for (const char* memory : {"flash", "eeprom"}) {
      builder.add("erase_sectors", R"({"memory": )" + in_quotes(memory) +
                                       R"(, "start": "0x00000000", "size": 64, "count": 1})");
    }
    return builder.region("tables", "editable", 0x10, 0x10, "eeprom").parse();
  };
  const RegionMap one = sectors(MapBuilder().memory("flash", 0, 0x1000).memory("eeprom", 0, 64));
  const RegionMap other = sectors(MapBuilder().memory("eeprom", 0, 64).memory("flash", 0, 0x1000));
  const MapDiff diff = diff_region_maps(one, other);
  EXPECT_TRUE(diff.policies.empty());
  EXPECT_TRUE(diff.declarations.empty());
}

// Limits are there to stop a value that is not sane, but no proof looks at them.
TEST(MapDiff, AnItemWithOtherLimitsOrNoneIsNamedAndWidensNothing) {
  const std::string item =
      R"({"name":"limit","memory":"flash","start":"0x00000400","kind":"scalar","type":"u8","least":"0","most":"100"})";
  const RegionMap before = base().add("items", item).parse();
  std::string looser = item;
  looser.replace(looser.find("\"100\""), 5, "\"200\"");
  for (const RegionMap& after : {base().add("items", looser).parse(), base().parse()}) {
    const MapDiff diff = diff_region_maps(before, after);
    ASSERT_EQ(diff.declarations.size(), 1U);
    EXPECT_EQ(diff.declarations[0].kind, Kind::kItem);
    EXPECT_FALSE(diff.widens);
  }
}

TEST(MapDiff, FormsAndWordsForPeopleWidenNothing) {
  const auto form = [](std::string_view constant) {
    return base()
        .add("forms", R"({"name": "boxed", "blocks": [{"constant": )" + in_quotes(constant) +
                          R"(}, {"memory": "flash", "start": "0x00000000", "size": 4096}]})")
        .parse();
  };
  const MapDiff diff = diff_region_maps(form("0011"), form("0022"));
  ASSERT_EQ(diff.declarations.size(), 1U);
  EXPECT_FALSE(diff.widens);
}

// A guess that somebody confirms may be written from then on.
TEST(MapDiff, ConfirmingADraftedChecksumWidens) {
  const auto drafted = [](std::string_view more) {
    return base()
        .checksum("guess", kCrc32, {range_at(0x400, 0x80)}, {slot_at(0x900, 4)},
                  R"("drafted": "from 1 image")" + std::string(more))
        .parse();
  };
  const RegionMap before = drafted(""),
                  after = drafted(R"(, "confirmed": "2026-12-01 A. Tuner: two writes")");
  EXPECT_TRUE(diff_region_maps(before, after).widens);
  EXPECT_FALSE(diff_region_maps(after, before).widens);
}

// The sweep, address by address against policy_at(): regions, slots, a balance, copies, one memory more.
TEST(MapDiff, EveryAddressHasItsPolicy) {
  const RegionMap before =
      base()
          .region("learned", "volatile", 0x500, 0x40)
          .copy("mirror", 0x600, 0x400, 0x10)
          .checksum("tables", kCrc32, {range_at(0x400, 0x80)}, {slot_at(0x4f0, 4)})
          .checksum("sum", R"({"sum": {"unit": 32}})", {range_at(0x700, 0x40)}, {},
                    R"("rule": {"equals": 0, "balance": {"memory": "flash", "at": "0x00000720", "size": 4}})")
          .parse();
  const RegionMap after = MapBuilder()
                              .memory("eeprom", 0, 64)
                              .memory("flash", 0, 0x1000)
                              .region("tables", "editable", 0x440, 0x100)
                              .region("more", "volatile", 0x10, 0x10, "eeprom")
                              .copy("mirror", 0x608, 0x440, 0x10)
                              .parse();
  const MapDiff diff = diff_region_maps(before, after);
  const auto policy = [](const RegionMap& map, const char* memory, std::uint64_t at) {
    const std::size_t index = map.memory_index(memory);
    return index == map.memories.size() ? Policy::kLocked : policy_at(map, index, at);
  };
  for (const char* memory : {"flash", "eeprom"}) {
    for (std::uint64_t at = 0; at < 0x1000; ++at) {
      const auto found = std::ranges::find_if(diff.policies, [&](const PolicyChange& change) {
        return change.memory == memory && change.range.contains(at);
      });
      const Policy old = policy(before, memory, at), fresh = policy(after, memory, at);
      ASSERT_EQ(found != diff.policies.end(), old != fresh) << memory << " " << at;
      if (old == fresh) continue;
      ASSERT_EQ(found->before, old) << memory << " " << at;
      ASSERT_EQ(found->after, fresh) << memory << " " << at;
    }
  }
}

// Slots beside one another, as many as a map may have, each the edge of a policy.
TEST(MapDiff, ManyEdgesAreOneSweep) {
  const auto map = [](std::uint64_t at) {
    MapBuilder builder;
    builder.memory("flash", 0, 0x1000000).region("tables", "editable", 0, 0x100);
    return builder
        .checksum("tables", kCrc32, {range_at(0, 0x100)}, {slot_at(at, 4, R"("stride": 32)")},
                  R"("repeat": 4096)")
        .parse();
  };
  const RegionMap before = map(0x1000), after = map(0x1010);
  EXPECT_EQ(diff_region_maps(before, after).policies.size(), 2 * 4096U);
}

}  // namespace
}  // namespace calseal
