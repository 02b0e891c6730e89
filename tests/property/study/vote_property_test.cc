// Reads of one controller with drawn errors: one bad read among three never decides, whatever is wrong with
// it; two reads agree exactly when they differ in volatile bytes only; and how often a majority is wrong is
// what the vote says that it expects.
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include "calseal/map/correct.h"
#include "calseal/study/vote.h"
#include "support/map_builder.h"
#include "support/matchers.h"

namespace calseal {
namespace {

constexpr std::uint64_t kSize = 0x4000, kLearned = 0x3000, kSum = 0x3ffe;

// Code under a CRC, coverage by a table of records; learned values under a sum, which floats.
RegionMap sample_map() {
  return MapBuilder()
      .memory("flash", 0, kSize)
      .region("tables", "editable", 0x1000, 0x2000)
      .region("learned", "volatile", kLearned, kSum - kLearned)
      .checksum(
          "tables", kCrc32,
          {R"({"table": {"memory": "flash", "at": "0x00000040", "records": 2, "record_size": 8, "order": "little", )"
           R"("start_at": 0, "end_at": 4, "end": "last", "points_into": "flash"}})"},
          {slot_at(0x20, 4)})
      .checksum("learned", R"({"sum": {"unit": 8, "accumulator": 16}})",
                {range_at(kLearned, kSum - kLearned)}, {slot_at(kSum, 2)})
      .parse();
}

Image good_read(const RegionMap& map, Random& random) {
  Image image = random_image(map, random);
  const std::uint32_t words[] = {0x1000, 0x1fff, 0x2000, 0x2fff};
  for (unsigned i = 0; i < 16; ++i)
    byte_at(image, 0x40 + i) = static_cast<std::uint8_t>(words[i / 4] >> (8 * (i % 4)));
  EXPECT_THAT(correct(make_plan(map, image).value(), image), IsOk());
  return image;
}

// Learned values move on, and their checksum with them.
Image driven(const RegionMap& map, Image image, Random& random) {
  for (int i = 0; i < 5; ++i)
    byte_at(image, random.between(kLearned, kSum - 1)) = static_cast<std::uint8_t>(random.between(0, 255));
  EXPECT_THAT(correct(make_plan(map, image).value(), image, CorrectionScope::kFloating), IsOk());
  return image;
}

bool is_pinned_address(std::uint64_t address) { return address < kLearned; }

TEST(VoteProperty, OneBadReadAmongThreeNeverDecides) {
  Random random;
  const RegionMap map = sample_map();
  for (int round = 0; round < 40; ++round) {
    const Image good = good_read(map, random);
    std::vector<Image> reads;
    for (int i = 0; i < 3; ++i) reads.push_back(driven(map, good, random));
    // From one byte to everything; records of tables, slots and volatile bytes among them.
    const std::size_t bad = random.between(0, 2);
    const std::uint64_t begin = round % 4 == 0 ? 0x40 : random.between(0, kSize - 1);
    const std::uint64_t size = round % 4 == 0 ? 16 : random.between(1, kSize - begin);
    std::uint64_t wrong = 0;
    for (std::uint64_t at = begin; at < begin + size; ++at) {
      const auto change = static_cast<std::uint8_t>(random.between(0, 255));
      byte_at(reads[bad], at) ^= change;
      wrong += change != 0 && is_pinned_address(at) ? 1 : 0;
    }
    const auto vote = vote_reads(map, {&reads[0], &reads[1], &reads[2]});
    ASSERT_THAT(vote, IsOk());
    EXPECT_EQ(vote->tied, 0U);
    EXPECT_EQ(vote->outvoted, wrong);
    EXPECT_EQ(vote->minority[bad], wrong);
    EXPECT_EQ(vote->only_volatile(), wrong == 0);
    ASSERT_TRUE(vote->image);
    for (std::uint64_t at = 0; at < kSize; ++at) {
      const Image& right = is_pinned_address(at) ? good : reads[2];
      ASSERT_EQ(vote->image->memories[0].bytes[at], right.memories[0].bytes[at]) << at;
    }
    EXPECT_EQ(vote->checks.front().state, CheckState::kHolds);
  }
}

TEST(VoteProperty, TwoReadsAgreeExactlyWhenOnlyVolatileBytesDiffer) {
  Random random;
  const RegionMap map = sample_map();
  for (int round = 0; round < 60; ++round) {
    const Image good = good_read(map, random);
    const Image first = driven(map, good, random);
    Image second = driven(map, good, random);
    const bool differs = random.coin();
    const std::uint64_t at = random.between(0x1000, kLearned - 1);
    if (differs) byte_at(second, at) ^= static_cast<std::uint8_t>(random.between(1, 255));
    const Vote vote = vote_reads(map, {&first, &second}).value();
    EXPECT_EQ(vote.only_volatile(), !differs);
    EXPECT_FALSE(vote.image) << "two reads decide nothing";
    EXPECT_FALSE(vote.wrong_expected);
    ASSERT_EQ(vote.disagreements.size(), differs ? 1U : 0U);
    if (differs) {
      EXPECT_EQ(vote.disagreements.front().place.range, (Range{at, at + 1}));
      EXPECT_EQ(vote.tied, 1U);
    }
  }
}

TEST(VoteProperty, TheOrderOfTheReadsDecidesNothing) {
  Random random;
  const RegionMap map = sample_map();
  const Image good = good_read(map, random);
  std::vector<Image> reads(5, good);
  for (Image& read : reads) {
    for (int i = 0; i < 300; ++i)
      byte_at(read, random.between(0x1000, kLearned - 1)) = static_cast<std::uint8_t>(random.between(0, 255));
  }
  std::vector<const Image*> order;
  for (const Image& read : reads) order.push_back(&read);
  const Vote first = vote_reads(map, order).value();
  for (int round = 0; round < 10; ++round) {
    std::swap(order[random.between(0, 4)], order[random.between(0, 4)]);
    const Vote vote = vote_reads(map, order).value();
    EXPECT_EQ(vote.disagreements.size(), first.disagreements.size());
    EXPECT_EQ(vote.outvoted, first.outvoted);
    EXPECT_EQ(vote.tied, first.tied);
    ASSERT_EQ(vote.image.has_value(), first.image.has_value());
    if (vote.image) {
      EXPECT_TRUE(same_bytes(*vote.image, *first.image));
    }
    EXPECT_DOUBLE_EQ(*vote.wrong_expected, *first.wrong_expected);
  }
}

// With errors as frequent as 1 in 12 a majority is wrong often enough to be counted. The sum over many votes
// is a Poisson variable; five standard deviations, and a tenth for the terms that the formula leaves out.
TEST(VoteProperty, AMajorityIsWrongAsOftenAsExpected) {
  Random random;
  const RegionMap map = sample_map();
  double expected = 0, counted = 0;
  for (int round = 0; round < 60; ++round) {
    const Image good = good_read(map, random);
    std::vector<Image> reads(3, good);
    for (Image& read : reads) {
      for (std::uint64_t at = 0x1000; at < kLearned; ++at) {
        if (random.between(0, 11) == 0)
          byte_at(read, at) ^= static_cast<std::uint8_t>(random.between(1, 255));
      }
    }
    const Vote vote = vote_reads(map, {&reads[0], &reads[1], &reads[2]}).value();
    // The formula is for errors all over the pinned bytes; here they are in 8,192 of 12,288 of them.
    expected += *vote.wrong_expected * kLearned / (kLearned - 0x1000);
    for (std::uint64_t at = 0x1000; at < kLearned; ++at) {
      const std::uint8_t a = byte_at(reads[0], at), b = byte_at(reads[1], at), c = byte_at(reads[2], at);
      const std::uint8_t most = a == b || a == c ? a : b;
      if ((a == b || a == c || b == c) && most != byte_at(const_cast<Image&>(good), at)) ++counted;
    }
  }
  EXPECT_GT(counted, 10);
  EXPECT_NEAR(counted, expected, 5 * std::sqrt(expected) + 0.2 * expected);
}

TEST(VoteProperty, AReadThatKnowsLessHasNoVote) {
  Random random;
  const RegionMap map = sample_map();
  const Image good = good_read(map, random);
  Image cut = good, wrong = good;
  cut.memories[0].known.remove(Range{0x2000, kSize});
  byte_at(wrong, 0x1234) ^= 1;
  const Vote vote = vote_reads(map, {&cut, &good, &wrong, &good}).value();
  EXPECT_EQ(vote.compared, (std::vector<bool>{false, true, true, true}));
  EXPECT_EQ(vote.minority, (std::vector<std::uint64_t>{0, 1, 0}));
  ASSERT_TRUE(vote.image);
  EXPECT_TRUE(same_bytes(*vote.image, good));
  EXPECT_THAT(vote_reads(map, {&cut, &good}), FailsWith(Reason::kReadIncomplete));
}

}  // namespace
}  // namespace calseal
