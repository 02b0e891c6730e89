// Circles of CRCs and exclusive-or sums, against trying every value of their slots.
#include "calseal/map/joint.h"

#include <gtest/gtest.h>

#include "calseal/map/correct.h"
#include "calseal/map/verify.h"
#include "support/check_reference.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

// Polynomials without the factor x + 1: with it, a slot in its own coverage cannot change the parity of what
// must vanish.
constexpr std::string_view kCrc8 = R"({"crc": "CRC-8/SAE-J1850"})";
constexpr std::string_view kCrc12 =
    R"({"crc": {"width": 12, "poly": "0x053", "init": 0, "refin": false, "refout": false, "xorout": 0}})";
constexpr std::string_view kXor8 = R"({"sum": {"unit": 8, "operation": "xor"}})";

MapBuilder flash() {
  MapBuilder builder;
  builder.memory("flash", 0, 0x100);
  return builder;
}

// How many values of the one-byte slots make every check hold; copies of them follow as declared.
int solutions(const RegionMap& map, Image image, const std::vector<std::uint64_t>& slots) {
  int found = 0;
  for (std::uint64_t value = 0; value < std::uint64_t{1} << (8 * slots.size()); ++value) {
    for (std::size_t i = 0; i < slots.size(); ++i)
      byte_at(image, slots[i]) = static_cast<std::uint8_t>(value >> (8 * i));
    for (std::size_t round = 0; round < map.copies.size(); ++round) {
      for (const Copy& copy : map.copies) {
        for (std::uint64_t k = 0; k < copy.to.range.size(); ++k) {
          const std::uint8_t byte = byte_at(image, copy.of.range.begin + k);
          byte_at(image, copy.to.range.begin + k) =
              copy.transform == CopyTransform::kPlain ? byte : static_cast<std::uint8_t>(~byte);
        }
      }
    }
    if (reference::first_wrong(map, image).empty()) ++found;
  }
  return found;
}

// One value exactly, and correction finds it; or the map is refused, and there is none or several.
void expect_as_by_trial(const RegionMap& map, const std::vector<std::uint64_t>& slots, Random& random,
                        int& solved) {
  Image image = random_image(map, random);
  const int wanted = solutions(map, image, slots);
  const auto plan = make_plan(map, image);
  if (wanted != 1) {
    EXPECT_THAT(plan, FailsWith(Reason::kChecksumCycle))
        << map.checksums[0].name << ": " << wanted << " solutions";
    return;
  }
  ++solved;
  ASSERT_THAT(plan, IsOk());
  ASSERT_THAT(correct(*plan, image), IsOk());
  EXPECT_EQ(reference::first_wrong(map, image), "");
}

TEST(Joint, ACrcThatCoversItself) {
  Random random;
  int solved = 0;
  for (std::uint64_t at = 0x00; at < 0x30; ++at) {
    const char* more = at % 3 == 0   ? R"("transform": "complement")"
                       : at % 3 == 1 ? R"("transform": "reverse")"
                                     : "";
    const RegionMap map =
        flash()
            .checksum("c" + std::to_string(at), kCrc8, {range_at(0, 0x30)}, {slot_at(at, 1, more)})
            .parse();
    expect_as_by_trial(map, {at}, random, solved);
  }
  EXPECT_GT(solved, 0);
  EXPECT_LT(solved, 48);
}

TEST(Joint, ACrcWithTheFactorXPlusOneHasNoSingleValueAnywhere) {
  Random random;
  int solved = 0;
  for (std::uint64_t at = 0x00; at < 0x18; ++at) {
    const RegionMap map =
        flash().checksum("c", R"({"crc": "CRC-8/SMBUS"})", {range_at(0, 0x18)}, {slot_at(at, 1)}).parse();
    expect_as_by_trial(map, {at}, random, solved);
  }
  EXPECT_EQ(solved, 0);
}

TEST(Joint, ACrcThatReadsItselfTwiceAndSwapped) {
  Random random;
  int solved = 0;
  for (std::uint64_t at = 0x04; at < 0x20; ++at) {
    const RegionMap map =
        flash()
            .checksum("c" + std::to_string(at), kCrc8,
                      {range_at(0, 0x20), R"({"literal": "0a"})", range_at(at & ~3U, 4)}, {slot_at(at, 1)},
                      at % 2 == 0 ? R"("swap": 32)" : R"("complement": "ones")")
            .parse();
    expect_as_by_trial(map, {at}, random, solved);
  }
  EXPECT_GT(solved, 0);
}

TEST(Joint, TwoThatCoverEachOther) {
  Random random;
  int solved = 0;
  for (std::uint64_t size = 4; size < 12 && solved == 0; ++size) {
    const RegionMap map =
        flash()
            .checksum("a", kCrc8, {range_at(0, size)}, {slot_at(0x21, 1)})
            .checksum("b", R"({"crc": "CRC-8/DARC"})", {range_at(0x20, size)}, {slot_at(0x02, 1)})
            .parse();
    expect_as_by_trial(map, {0x21, 0x02}, random, solved);
  }
  EXPECT_GT(solved, 0);
}

TEST(Joint, CopiesInsideTheCircleFollow) {
  Random random;
  int solved = 0;
  for (std::uint64_t size = 6; size < 24; ++size) {
    const RegionMap map = flash()
                              .copy("twice", 0x60, 0x40, 4)  // declared before what it repeats
                              .copy("once", 0x40, 0x80, 4, R"("transform": "complement")")
                              .copy("back", 0x01, 0x61, 1)
                              .checksum("c", kCrc8, {range_at(0, size)}, {slot_at(0x81, 1)})
                              .parse();
    expect_as_by_trial(map, {0x81}, random, solved);
  }
  EXPECT_GT(solved, 0);
}

TEST(Joint, ACopyOfTwoCopiesWaitsForBoth) {
  Random random;
  int solved = 0;
  for (std::uint64_t size = 6; size < 24; ++size) {
    const RegionMap map = flash()
                              .copy("of_both", 0x01, 0x40, 3)
                              .copy("second", 0x41, 0x40, 1, R"("transform": "complement")")
                              .copy("first", 0x40, 0x80, 1)
                              .checksum("c", kCrc8, {range_at(0, size)}, {slot_at(0x80, 1)})
                              .parse();
    expect_as_by_trial(map, {0x80}, random, solved);
  }
  EXPECT_GT(solved, 0);
}

TEST(Joint, ExclusiveOrSumsCountBytesByTheirPlaceInTheWord) {
  // Covered twice the slot cancels; covered thrice it is its own value, which is refused.
  const std::string xor16 = R"({"sum": {"unit": 16, "order": "big", "operation": "xor"}})";
  Random random;
  for (const char* order : {"little", "big"}) {
    const RegionMap map = flash()
                              .checksum("x", xor16, {range_at(0, 0x10), range_at(0, 0x10), range_at(0x21, 5)},
                                        {slot_at(0x04, 2, R"("order": ")" + std::string(order) + R"(")")})
                              .parse();
    Image image = random_image(map, random);
    const Plan plan = make_plan(map, image).value();
    EXPECT_TRUE(plan.order[0].joint);
    ASSERT_THAT(correct(plan, image), IsOk());
    EXPECT_EQ(reference::first_wrong(map, image), "");
  }
  // Only the word's low half is kept, so it matters in which half the other slot stands.
  for (const std::uint64_t other : {0x0e, 0x0f}) {
    const RegionMap crossed =
        flash()
            .checksum("a", xor16, {range_at(0, 0x11)}, {slot_at(0x20, 1)}, R"("bits": 8)")
            .checksum("b", kCrc8, {range_at(0x20, 2)}, {slot_at(other, 1)})
            .parse();
    int solved = 0;
    expect_as_by_trial(crossed, {0x20, other}, random, solved);
    if (other == 0x0e) {
      EXPECT_EQ(solved, 1);
    }
  }
}

TEST(Joint, ARuleInACircleIsSolvedThroughTheCopyOfItsBalance) {
  Random random;
  int solved = 0;
  for (std::uint64_t size = 8; size < 24; ++size) {
    const RegionMap map =
        flash()
            .copy("mirror", 0x03, 0x06, 1)
            .checksum("r", kCrc8, {range_at(0, size)}, {},
                      R"("complement": "twos", "add": 3, "rule": {"equals": 17, "balance": )" +
                          slot_at(0x06, 1) + "}")
            .parse();
    expect_as_by_trial(map, {0x06}, random, solved);
  }
  EXPECT_GT(solved, 0);
}

TEST(Joint, SlotsInPiecesAndWithSpareBitsAreEquationsToo) {
  Random random;
  int solved = 0;
  for (std::uint64_t size = 6; size < 20 && solved == 0; ++size) {
    const RegionMap map = flash()
                              .checksum("c", kCrc12, {range_at(0, size)},
                                        {slot_at(0x02, 1, R"("bits": 7)"), slot_at(0x05, 1, R"("from": 7)")})
                              .parse();
    expect_as_by_trial(map, {0x02, 0x05}, random, solved);
  }
  EXPECT_GT(solved, 0);
}

TEST(Joint, SystemsSayWhetherTheirSolutionIsUnique) {
  const RegionMap map = flash()
                            .checksum("wide", kCrc8, {range_at(0, 0x10)}, {},
                                      R"("rule": {"equals": 0, "balance": )" + slot_at(0, 2) + "}")
                            .checksum("exact", kCrc8, {range_at(0x20, 0x10)}, {},
                                      R"("rule": {"equals": 0, "balance": )" + slot_at(0x20, 1) + "}")
                            .checksum("sum", R"({"sum": {"unit": 8}})", {range_at(0x40, 0x10)}, {},
                                      R"("rule": {"equals": 0, "balance": )" + slot_at(0x40, 1) + "}")
                            .parse();
  const Plan plan = make_plan(map, filled_image(map)).value();
  const auto wide = make_joint_system(plan, {{0}, false});
  ASSERT_TRUE(wide);
  EXPECT_TRUE(wide->solvable);
  EXPECT_FALSE(wide->unique);
  EXPECT_EQ(wide->unknowns.size(), 16U);
  EXPECT_EQ(wide->linear.equations(), 8U);
  const auto exact = make_joint_system(plan, {{1}, false});
  ASSERT_TRUE(exact);
  EXPECT_TRUE(exact->solvable && exact->unique);
  EXPECT_FALSE(make_joint_system(plan, {{2}, false}));
}

TEST(Joint, BitsStayWhereThereIsChoice) {
  const RegionMap map = flash()
                            .checksum("r", kCrc8, {range_at(0, 0x10)}, {},
                                      R"("rule": {"equals": 0, "balance": )" + slot_at(4, 3) + "}")
                            .parse();
  Random random;
  Image image = random_image(map, random);
  const Plan plan = make_plan(map, image).value();
  ASSERT_THAT(correct(plan, image), IsOk());
  const Image first = image;
  byte_at(image, 0x09) ^= 0x40;
  ASSERT_THAT(correct(plan, image), IsOk());
  EXPECT_EQ(hex_at(image, 5, 2), hex_at(first, 5, 2));  // one byte is enough
  EXPECT_EQ(reference::first_wrong(map, image), "");
}

TEST(Joint, XorOverItsOwnSlotHasNoSingleValue) {
  const RegionMap map = flash().checksum("x", kXor8, {range_at(0, 8)}, {slot_at(3, 1)}).parse();
  Random random;
  const Image image = random_image(map, random);
  EXPECT_NE(solutions(map, image, {3}), 1);
  EXPECT_THAT(make_plan(map, image), FailsWith(Reason::kChecksumCycle));
}

}  // namespace
}  // namespace calseal
