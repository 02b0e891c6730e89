#include "calseal/study/edges.h"

#include <gmock/gmock.h>

#include <cmath>

#include "calseal/study/search_hit.h"

namespace calseal {
namespace {

using ::testing::Contains;
using ::testing::Each;
using ::testing::Lt;

class Noise {
 public:
  explicit Noise(std::uint64_t seed) : state_(seed * 0x9e3779b97f4a7c15U + 1) {}
  std::uint64_t below(std::uint64_t limit) {
    state_ = state_ * 6364136223846793005U + 1442695040888963407U;
    return (state_ >> 33) % limit;
  }

 private:
  std::uint64_t state_;
};

// 16-bit values, little-endian, that run by at most `step`.
void add_table(Bytes& image, std::size_t size, std::uint64_t step, Noise& noise) {
  std::uint64_t value = 0x3000;
  for (std::size_t i = 0; i < size; i += 2) {
    if (i % 128 == 0) value = 0x1000 + noise.below(0x4000);
    value = (value + noise.below(2 * step + 1) + 0x10000 - step) & 0x7fff;
    image.push_back(static_cast<std::uint8_t>(value));
    image.push_back(static_cast<std::uint8_t>(value >> 8));
  }
}

// What the price list of drafting stands on: ranges are named by one code.
TEST(Edges, SharesOfAllRangesSumToAtMostOne) {
  for (const std::uint64_t seed : {1, 2, 3}) {
    Noise noise(seed);
    Bytes image;
    for (int part = 0; part < 6; ++part) {
      add_table(image, 0x3000, 3 + noise.below(50), noise);
      image.insert(image.end(), 0x1000 * noise.below(3) + 0x800, noise.below(2) == 0 ? 0xff : 0x00);
      image.insert(image.end(), {1, 2, 3, 4});
      image.resize((image.size() + 0xfff) / 0x1000 * 0x1000, 0xff);
    }
    const Grid grid{4096, image.size()};
    const Edges edges(image, grid);
    double ranges = 0, begins = 0;
    for (std::size_t begin = 0; begin + 1 < grid.count(); ++begin) {
      begins += std::exp2(-edges.begin_cost(begin));
      double ends = 0;
      for (std::size_t end = begin + 1; end < grid.count(); ++end) {
        ends += std::exp2(-edges.end_cost(begin, end));
        ranges += std::exp2(-edges.range_cost(begin, end));
      }
      EXPECT_LE(ends, 1) << "seed " << seed << ", begin " << begin;
      double next = 0;
      for (std::size_t after = begin; after + 1 < grid.count(); ++after)
        next += std::exp2(-edges.next_begin_cost(begin, after));
      EXPECT_LE(next, 1) << "seed " << seed << ", from " << begin;
    }
    EXPECT_LE(begins, 1) << "seed " << seed;
    EXPECT_LE(ranges, 1) << "seed " << seed;
    EXPECT_GT(ranges, 0.3) << "seed " << seed;  // and nothing is given away
  }
}

TEST(SearchHit, SharesOfAllLayoutsSumToAtMostOne) {
  using Anchor = Layout::Anchor;
  for (const std::size_t size : {1, 2, 3, 4, 5, 8}) {
    double layouts = 0;
    for (const Anchor anchor : {Anchor::kEnd, Anchor::kStart, Anchor::kFree, Anchor::kRule}) {
      for (const Layout& layout : layouts_of(size, anchor)) layouts += std::exp2(-layout_cost(layout, size));
    }
    Layout record;
    record.anchor = Anchor::kRecord;
    layouts += std::exp2(-layout_cost(record, size));
    EXPECT_LE(layouts, 1) << size;
  }
  for (const SearchAlgorithm& algorithm : search_algorithms()) {
    double storages = 0;
    for (const Storage& storage : storages_of(algorithm)) storages += std::exp2(-storage_cost(storage));
    EXPECT_LE(storages, 1) << algorithm.algorithm.name;
  }
}

// Tables whose bytes are of one kind, but whose values run by other steps.
TEST(Edges, ShowWhereStepsChange) {
  Noise noise(4);
  Bytes image;
  for (const std::uint64_t step : {4, 40, 9}) add_table(image, 0x8000, step, noise);
  const Edges edges(image, {4096, image.size()});
  EXPECT_THAT(edges.shown(), Contains(8U));
  EXPECT_THAT(edges.shown(), Contains(16U));
  EXPECT_LE(edges.shown().size(), 6U);  // with both ends
  EXPECT_LT(edges.begin_cost(8), edges.begin_cost(5));
}

TEST(Edges, AFewBytesBehindPaddingStandAlone) {
  Noise noise(5);
  Bytes image;
  add_table(image, 0x2f00, 9, noise);
  image.resize(0x3000, 0xff);
  for (std::size_t i = 0x2ffc; i < 0x3000; ++i) image[i] = static_cast<std::uint8_t>(i);
  add_table(image, 0x3000, 9, noise);
  const Edges edges(image, {4096, image.size()});
  EXPECT_TRUE(edges.is_lone(3));
  EXPECT_FALSE(edges.is_lone(4));
  EXPECT_LT(edges.end_cost(0, 3), edges.end_cost(0, 4));
}

}  // namespace
}  // namespace calseal
