#include "calseal/study/read_judgement.h"

#include <gmock/gmock.h>

#include "calseal/map/correct.h"
#include "calseal/study/vote.h"
#include "calseal/study/write_plan.h"
#include "support/map_builder.h"

namespace calseal {
namespace {

// One 8-byte classic CAN data frame with an 11-bit identifier, the space between frames included, in bits: 111 without stuffing, 135
// with the most that stuffing can add (one bit after every four of 98, the first apart).
constexpr std::uint64_t kCanFrameBits = 111;
constexpr std::uint64_t kCanFrameBitsStuffed = 135;
// Bytes per second that ISO 15765-2 consecutive frames (7 payload bytes each) carry at most when nobody else sends.
constexpr std::uint64_t iso_tp_most(std::uint64_t bits_per_second, std::uint64_t frame_bits) {
  return bits_per_second * 7 / frame_bits;
}

constexpr std::uint64_t kSize = 0x8000;

RegionMap sample_map() {
  return MapBuilder()
      .memory("flash", 0, kSize)
      .recognise(R"({"all": [{"memory": "flash", "at": "0x00000010", "bytes": "464d3132"}]})")
      .region("code", "locked", 0x100, 0x3f00)
      .region("tables", "editable", 0x4000, 0x2000)
      .region("learned", "volatile", 0x7000, 0x1000)
      .checksum("code", kCrc32, {range_at(0x100, 0x3f00)}, {slot_at(0x20, 4)})
      .checksum("tables", kCrc32, {range_at(0x4000, 0x2000)}, {slot_at(0x24, 4)})
      .add("erase_sectors", R"({"memory": "flash", "start": "0x00000000", "size": "0x1000", "count": 7})")
      .add("erase_sectors", R"({"memory": "flash", "start": "0x00007000", "size": "0x1000", "count": 1})")
      .parse();
}

Bytes good_read(const RegionMap& map) {
  Image image = filled_image(map);
  Bytes& bytes = image.memories[0].bytes;
  std::uint32_t state =
      1;  // the sample generator of ISO C, 7.22.2.2, shifted to few values so as not to look random
  for (std::size_t i = 0x100; i < 0x6000; ++i) {
    state = state * 1103515245U + 12345U;
    bytes[i] = static_cast<std::uint8_t>(state >> 27);
  }
  for (std::size_t i = 0; i < 4; ++i) bytes[0x10 + i] = map.recognition.all[0].bytes[i];
  const auto plan = make_plan(map, image);
  EXPECT_TRUE(plan && correct(*plan, image));
  return bytes;
}

ReadJudgement judged(const RegionMap& map, Bytes bytes, const std::vector<KnownStock>& stocks = {}) {
  return judge_read(map, {{"", "read.bin", std::move(bytes)}}, stocks).value();
}

Image image_of(const RegionMap& map, Bytes bytes) {
  return load_read(map, {{"", "read.bin", std::move(bytes)}}).value().image;
}

TEST(JudgeRead, AGoodReadHasNoFinding) {
  const RegionMap map = sample_map();
  const ReadJudgement judgement = judged(map, good_read(map));
  EXPECT_TRUE(judgement.sound());
  EXPECT_TRUE(judgement.whole);
  EXPECT_EQ(judgement.grade, ReadGrade::kNotComparable);
}

TEST(JudgeRead, StockOrChanged) {
  const RegionMap map = sample_map();
  const Bytes stock = good_read(map);
  const std::vector<KnownStock> stocks = {{"stock", image_of(map, stock)}};
  Bytes learned = stock;
  learned[0x7010] = 9;
  EXPECT_EQ(judged(map, learned, stocks).grade, ReadGrade::kMatchesKnownStock);
  Image image = image_of(map, stock);
  image.memories[0].bytes[0x4100] ^= 1;
  ASSERT_TRUE(correct(*make_plan(map, image), image));
  const ReadJudgement changed = judged(map, image.memories[0].bytes, stocks);
  EXPECT_EQ(changed.grade, ReadGrade::kDiffersFromKnownStock);
  EXPECT_TRUE(changed.sound());
  ASSERT_FALSE(changed.differences.empty());
  EXPECT_EQ(changed.differences.back().place.range, (Range{0x4100, 0x4101}));
  Bytes stale = stock;
  stale[0x4100] ^= 1;
  EXPECT_EQ(judged(map, stale, stocks).grade, ReadGrade::kChecksumsFail);
}

TEST(JudgeRead, NamesDamage) {
  const RegionMap map = sample_map();
  const Bytes good = good_read(map);
  const auto first = [&](Bytes bytes) {
    const ReadJudgement judgement = judged(map, std::move(bytes));
    EXPECT_FALSE(judgement.sound());
    return judgement.damage.empty() ? "nothing" : std::string(damage_name(judgement.damage.front().kind));
  };
  EXPECT_EQ(first(Bytes(good.begin(), good.begin() + 0x7f00)), "truncated");
  Bytes bytes = good;
  bytes.insert(bytes.end(), 100, 0xff);
  EXPECT_EQ(first(bytes), "padded");
  bytes = good;
  std::fill_n(bytes.begin() + 0x1000, 0x400, std::uint8_t{0xff});
  EXPECT_EQ(first(bytes), "blank");
  std::fill_n(bytes.begin() + 0x1000, 0x400, std::uint8_t{0x5a});
  EXPECT_EQ(first(bytes), "stuck");
  EXPECT_EQ(first(swapped(good, 2)), "swapped-16");
  EXPECT_EQ(first(swapped(good, 4)), "swapped-32");
  bytes = good;
  bytes.insert(bytes.begin(), 3, 0);
  EXPECT_EQ(first(bytes), "shifted");
  bytes = good;
  bytes.erase(bytes.begin() + 0x200);
  EXPECT_EQ(first(bytes), "shifted");
  bytes = good;
  bytes.insert(bytes.end(), good.begin(), good.end());
  EXPECT_EQ(first(bytes), "mirrored");
  bytes = good;
  bytes[0x1234] ^= 1;
  bytes[0x4321] ^= 0x80;
  const ReadJudgement two = judged(map, bytes);
  ASSERT_EQ(two.damage.size(), 2U);  // one for each of the checksums that fail
  EXPECT_EQ(two.damage[0].kind, DamageKind::kOneByte);
  EXPECT_EQ(two.damage[0].place, "flash 0x00001234");
  EXPECT_EQ(two.damage[1].place, "flash 0x00004321");
  bytes[0x1235] ^= 1;
  bytes[0x4322] ^= 0x80;
  EXPECT_EQ(first(bytes), "unexplained");
}

TEST(JudgeRead, BlanksOfTheImageAreNoDamage) {
  const RegionMap map = sample_map();
  const Bytes good = good_read(map);
  // An empty table that begins on a block and ends inside one, and two bits of the code turned over.
  Image image = image_of(map, good);
  std::fill_n(image.memories[0].bytes.begin() + 0x1000, 700, std::uint8_t{0});
  ASSERT_TRUE(correct(*make_plan(map, image), image));
  Bytes bytes = image.memories[0].bytes;
  bytes[0x2000] ^= 1;
  bytes[0x3001] ^= 2;
  EXPECT_EQ(judged(map, bytes).damage.front().kind, DamageKind::kUnexplained);
  // The same table, and a block that a reader left out: the block is named, not the table.
  bytes = image.memories[0].bytes;
  std::fill_n(bytes.begin() + 0x2000, 0x200, std::uint8_t{0xff});
  ASSERT_EQ(judged(map, bytes).damage.size(), 1U);
  EXPECT_EQ(judged(map, bytes).damage.front().place, "flash 0x00002000-0x000021ff");
  // A block that came twice and is half empty.
  bytes = image.memories[0].bytes;
  std::copy_n(image.memories[0].bytes.begin() + 0x0f00, 0x200, bytes.begin() + 0x2000);
  EXPECT_EQ(judged(map, bytes).damage.front().kind, DamageKind::kRepeated);
  EXPECT_EQ(judged(map, bytes).damage.front().place, "flash 0x00002000-0x000021ff");
}

TEST(VoteReads, MajorityAndSureness) {
  const RegionMap map = sample_map();
  const Bytes good = good_read(map);
  Bytes one = good, two = good;
  one[0x200] ^= 0x10;
  two[0x300] ^= 0x20;
  two[0x7001] = 5;
  const Image a = image_of(map, one), b = image_of(map, two), c = image_of(map, good);
  const Vote pair = vote_reads(map, {&a, &c}).value();
  EXPECT_FALSE(pair.only_volatile());
  EXPECT_EQ(pair.tied, 1U);
  EXPECT_FALSE(pair.wrong_expected);
  const Vote vote = vote_reads(map, {&a, &b, &c}).value();
  EXPECT_EQ(vote.outvoted, 2U);
  EXPECT_EQ(vote.tied, 0U);
  EXPECT_EQ(vote.volatile_bytes, 1U);
  EXPECT_THAT(vote.minority, testing::ElementsAre(1, 1, 0));
  ASSERT_TRUE(vote.image);
  EXPECT_EQ(vote.image->memories[0].bytes, good);
  // 3 choose 2 pairs, both wrong (rate 2 and 1 of 3 * 28,672 pinned bytes) in the same one of 255 ways.
  const double rate = 3.0 / (3.0 * 0x7000);
  EXPECT_NEAR(*vote.wrong_expected, 0x7000 * 3 * rate * rate / 255, 1e-12);
}

TEST(VoteReads, ReadsOfDifferentParts) {
  const RegionMap map = sample_map();
  const Image whole = image_of(map, good_read(map));
  Image part = whole;
  part.memories[0].known.remove({0, 0x100});
  const auto vote = vote_reads(map, {&whole, &part});
  ASSERT_FALSE(vote);
  EXPECT_EQ(vote.error().reason, Reason::kReadIncomplete);
}

TEST(WritePlanOf, TouchedSectorsAndMixedOnes) {
  const RegionMap map = sample_map();
  const Image now = image_of(map, good_read(map));
  Image after = now;
  after.memories[0].bytes[0x4fff] ^= 1;
  after.memories[0].bytes[0x5000] ^= 1;
  const Plan plan = make_plan(map, now).value();
  WritePlan write = make_write_plan(plan, now, after);
  ASSERT_EQ(write.touched.size(), 2U);
  EXPECT_EQ(write.calibration_bytes, 0x2000U);
  EXPECT_EQ(write.full_bytes, kSize);
  EXPECT_EQ(write.touched[0].volatile_bytes, 0U);
  after.memories[0].bytes[0x7000] ^= 1;
  write = make_write_plan(plan, now, after);
  EXPECT_EQ(write.touched.back().volatile_bytes, 0x1000U);
  EXPECT_EQ(transfer_seconds(5601, 5600), 2U);
  // ISO 15765-2: 7 payload bytes a consecutive frame; 500,000 bit/s over 111 and 135 bits.
  EXPECT_EQ(iso_tp_most(500000, kCanFrameBits), 31531U);
  EXPECT_EQ(iso_tp_most(500000, kCanFrameBitsStuffed), 25925U);
  // docs/plan.md: what is reckoned with stays below that; reading a fifth and less, writing less than half.
  EXPECT_LE(kReadRate * 4, iso_tp_most(500000, kCanFrameBitsStuffed));
  EXPECT_LE(kReadRate * 5, iso_tp_most(500000, kCanFrameBits));
  EXPECT_LT(kWriteRate * 2, iso_tp_most(500000, kCanFrameBitsStuffed));
}

}  // namespace
}  // namespace calseal
