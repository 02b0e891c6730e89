// CRCs of init and xorout that are in no catalogue: found where two images and more differ, and solved.
#include "calseal/study/crc_start.h"

#include <gmock/gmock.h>

#include <random>

#include "calseal/study/map_draft.h"

namespace calseal {
namespace {

using ::testing::HasSubstr;
using ::testing::SizeIs;

struct Block {
  std::size_t begin, end;  // the slot is the last four bytes
};

// The register a bit at a time, most significant bit first (Williams' definition).
std::uint32_t crc_of(const Bytes& image, Block block, std::uint32_t init, std::uint32_t xorout) {
  std::uint32_t reg = init;
  for (std::size_t i = block.begin; i < block.end - 4; ++i) {
    reg ^= std::uint32_t{image[i]} << 24;
    for (int bit = 0; bit < 8; ++bit) reg = (reg & 0x80000000U) != 0 ? reg << 1 ^ 0x04c11db7U : reg << 1;
  }
  return reg ^ xorout;
}

std::vector<Bytes> family(const std::vector<Block>& blocks, std::size_t count, std::uint32_t init,
                          std::uint32_t xorout, unsigned seed) {
  std::mt19937 random(seed);
  std::vector<Bytes> images;
  for (std::size_t k = 0; k < count; ++k) {
    Bytes image(0x40000, 0xff);
    for (const Block& block : blocks) {
      for (std::size_t i = block.begin; i + 300 < block.end; ++i)
        image[i] = static_cast<std::uint8_t>(random() & random());
      const std::uint32_t crc = crc_of(image, block, init, xorout);
      for (std::size_t i = 0; i < 4; ++i)
        image[block.end - 4 + i] = static_cast<std::uint8_t>(crc >> (8 * (3 - i)));
    }
    images.push_back(std::move(image));
  }
  return images;
}

SearchOutcome search(const std::vector<Bytes>& images) {
  ChecksumSearch search;
  for (const Bytes& image : images) search.images.push_back(image);
  return search_checksums(search);
}

const std::vector<Block> kThree = {{0x8000, 0x18000}, {0x18000, 0x1b000}, {0x1b000, 0x40000}};

TEST(CrcStart, OneImageSaysNothing) {
  EXPECT_THAT(search(family(kThree, 1, 0x12345678, 0x9abcdef0, 1)).found, SizeIs(0));
}

TEST(CrcStart, RangesOfThreeLengthsGiveInitAndXorout) {
  const unsigned seed = std::random_device{}();
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  for (int round = 0; round < 4; ++round) {
    const auto init = static_cast<std::uint32_t>(random()), xorout = static_cast<std::uint32_t>(random());
    const SearchOutcome outcome = search(family(kThree, 2, init, xorout, static_cast<unsigned>(random())));
    ASSERT_THAT(outcome.found, SizeIs(3));
    for (std::size_t i = 0; i < 3; ++i) {
      const Candidate& one = outcome.found[i];
      EXPECT_EQ(one.hit.coverage, (Range{kThree[i].begin, kThree[i].end - 4}));
      ASSERT_TRUE(one.solved);
      EXPECT_TRUE(one.start_is_known);
      EXPECT_EQ(one.solved->crc.init, init);
      EXPECT_EQ(one.solved->crc.xorout, xorout);
      EXPECT_EQ(one.images, 2U);
    }
  }
}

// Two lengths can be met by some init, whoever made the values: nothing is claimed then.
TEST(CrcStart, TwoLengthsAreNotEnough) {
  const std::vector<Block> blocks = {{0x8000, 0x18000}, {0x18000, 0x28000}, {0x28000, 0x40000}};
  std::vector<Bytes> images = family(blocks, 2, 0x12345678, 0x9abcdef0, 8);
  for (Bytes& image : images) {
    const std::uint32_t crc = crc_of(image, blocks[2], 0x0badcafe, 0x00c0ffee);
    for (std::size_t i = 0; i < 4; ++i) image[0x3fffc + i] = static_cast<std::uint8_t>(crc >> (8 * (3 - i)));
  }
  const SearchOutcome outcome = search(images);
  ASSERT_THAT(outcome.found, SizeIs(3));
  for (const Candidate& one : outcome.found) EXPECT_FALSE(one.start_is_known);
}

// By one range init and xorout are not told apart: what is taken fits, and says that it is a guess.
TEST(CrcStart, OneLengthLeavesThemOpen) {
  const std::vector<Bytes> images = family({{0x8000, 0x18000}}, 2, 0x12345678, 0x9abcdef0, 5);
  ChecksumSearch search;
  for (const Bytes& image : images) search.images.push_back(image);
  const auto draft = draft_region_map(search, {});
  ASSERT_TRUE(draft);
  ASSERT_THAT(draft->search.found, SizeIs(1));
  const Candidate& one = draft->search.found.front();
  ASSERT_TRUE(one.solved);
  EXPECT_FALSE(one.start_is_known);
  EXPECT_EQ(one.solved->crc.init, 0U);
  EXPECT_EQ(Crc(one.solved->crc).compute(ByteView(images[1]).subspan(0x8000, 0x10000 - 4)),
            crc_of(images[1], {0x8000, 0x18000}, 0x12345678, 0x9abcdef0));
  EXPECT_THAT(std::string(text_of(draft->text)),
              HasSubstr("init and xorout, which images of one layout cannot tell apart"));
}

// The images agree up to 0x9000: nothing says where before it the coverage begins.
TEST(CrcStart, ABeginningThatNothingTellsIsStated) {
  std::vector<Bytes> images = family({{0x8000, 0x18000}}, 2, 7, 9, 6);
  std::copy(images[0].begin() + 0x8000, images[0].begin() + 0x9000, images[1].begin() + 0x8000);
  images[1][0x9000] = static_cast<std::uint8_t>(images[0][0x9000] ^ 0x10);
  const std::uint32_t crc = crc_of(images[1], {0x8000, 0x18000}, 7, 9);
  for (std::size_t i = 0; i < 4; ++i)
    images[1][0x17ffc + i] = static_cast<std::uint8_t>(crc >> (8 * (3 - i)));
  const SearchOutcome outcome = search(images);
  ASSERT_THAT(outcome.found, SizeIs(1));
  EXPECT_EQ(outcome.found[0].may_begin, (Range{0, 0x9000}));
  EXPECT_LE(outcome.found[0].hit.coverage.begin, 0x9000U);
}

}  // namespace
}  // namespace calseal
