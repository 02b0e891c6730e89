// One wrong byte under a CRC of drawn parameters is found where it is, whatever its bits; bytes that are
// right, checks that hold and values that stand nowhere whole are not touched.
#include <gtest/gtest.h>

#include <string>

#include "calseal/map/correct.h"
#include "calseal/study/one_byte.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kOrigin = 0x80000000, kSize = 0x1000;

std::string crc_of(Random& random, int width) {
  const std::uint64_t mask = width == 64 ? ~std::uint64_t{0} : (std::uint64_t{1} << width) - 1;
  const auto word = [&] { return hex_number(random.between(0, ~std::uint64_t{0}) & mask); };
  const auto flag = [&] { return random.coin() ? std::string("true") : std::string("false"); };
  return R"({"crc": {"width": )" + std::to_string(width) + R"(, "poly": ")" +
         hex_number((random.between(0, ~std::uint64_t{0}) & mask) | 1U) + R"(", "init": ")" + word() +
         R"(", "refin": )" + flag() + R"(, "refout": )" + flag() + R"(, "xorout": ")" + word() + "\"}}";
}

// Two ranges with a literal between, in either lane order; the value in a slot of its own, or complemented in
// a second one.
RegionMap draw_map(Random& random, int width) {
  MapBuilder builder;
  builder.memory("flash", kOrigin, kSize).region("all", "editable", kOrigin + 0x100, 0xe00);
  const std::string order = random.coin() ? R"("order": "big")" : R"("order": "little")";
  const std::string shape = order + (random.coin() ? R"(, "transform": "complement")" : "");
  builder.checksum("one", crc_of(random, width),
                   {range_at(kOrigin + 0x800, 4 * random.between(16, 0x80)), R"({"literal": "0badcafe"})",
                    range_at(kOrigin + 0x100, 4 * random.between(16, 0x80))},
                   {slot_at(kOrigin + 0x10, static_cast<std::uint64_t>(width + 7) / 8, shape)},
                   random.coin() ? R"("swap": 16)" : "");
  return builder.parse();
}

TEST(OneByte, IsFoundWhereItIs) {
  Random random;
  for (int round = 0; round < 120; ++round) {
    const int width = static_cast<int>(random.between(40, 64));
    const RegionMap map = draw_map(random, width);
    SCOPED_TRACE(text_of(map.text));
    Image image = random_image(map, random);
    const Plan plan = make_plan(map, image).value();
    ASSERT_THAT(correct(plan, image), IsOk());
    const PlanNode& node = plan.nodes.front();
    EXPECT_FALSE(find_one_byte(plan, node, image)) << "in a read that is right";
    const auto& ranges = node.reads.front().ranges();
    const Range& range = ranges[random.between(0, ranges.size() - 1)];
    const std::uint64_t at = random.between(range.begin, range.end - 1);
    const std::uint8_t right = byte_at(image, at);
    byte_at(image, at) ^= static_cast<std::uint8_t>(random.between(1, 255));
    const auto found = find_one_byte(plan, node, image);
    ASSERT_TRUE(found);
    EXPECT_EQ(found->address, at);
    EXPECT_EQ(found->right, right);
    // Two wrong bytes far apart are no wrong byte, but by a chance of 2^-28 and less.
    const std::uint64_t other = range.begin == at ? range.end - 1 : range.begin;
    byte_at(image, other) ^= static_cast<std::uint8_t>(random.between(1, 255));
    EXPECT_FALSE(find_one_byte(plan, node, image));
  }
}

// Of 32 bits, and a message too long for more than one bit to say anything.
TEST(OneByte, OfALongMessageOnlyOneBit) {
  Random random;
  const RegionMap map = MapBuilder()
                            .memory("flash", 0, 0x10000)
                            .checksum("one", kCrc32, {range_at(0x100, 0xf000)}, {slot_at(0x10, 4)})
                            .parse();
  Image image = random_image(map, random);
  const Plan plan = make_plan(map, image).value();
  ASSERT_THAT(correct(plan, image), IsOk());
  const std::uint64_t at = random.between(0x100, 0xf0ff);
  byte_at(image, at) ^= 0x10;
  const auto found = find_one_byte(plan, plan.nodes.front(), image);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->address, at);
  EXPECT_LT(found->chance, kOneBitChance);
  byte_at(image, at) ^= 0x63;
  EXPECT_FALSE(find_one_byte(plan, plan.nodes.front(), image));
}

TEST(OneByte, SaysNothingWhereItCannotKnow) {
  Random random;
  const auto none = [&](const std::string& algorithm, const std::vector<std::string>& slots,
                        const std::string& more = "") {
    const RegionMap map = MapBuilder()
                              .memory("flash", 0, 0x1000)
                              .checksum("one", algorithm, {range_at(0x100, 0x400)}, slots, more)
                              .parse();
    Image image = random_image(map, random);
    const Plan plan = make_plan(map, image).value();
    ASSERT_THAT(correct(plan, image), IsOk());
    byte_at(image, 0x180) ^= 1;
    EXPECT_FALSE(find_one_byte(plan, plan.nodes.front(), image)) << algorithm << more;
  };
  none(std::string(kCrc16), {slot_at(0x10, 2)});                            // too few bits
  none(R"({"sum": {"unit": 32, "accumulator": 32}})", {slot_at(0x10, 4)});  // no place in a sum
  none(std::string(kCrc32), {slot_at(0x10, 2)}, R"("bits": 16)");           // half of the value
  const RegionMap map = MapBuilder()
                            .memory("flash", 0, 0x1000)
                            .checksum("one", kCrc32, {range_at(0x100, 0x400)}, {slot_at(0x10, 4)})
                            .parse();
  Image image = random_image(map, random);
  forget(image, 0x200, 1);
  const Plan plan = make_plan(map, image).value();
  EXPECT_FALSE(find_one_byte(plan, plan.nodes.front(), image));
}

}  // namespace
}  // namespace calseal
