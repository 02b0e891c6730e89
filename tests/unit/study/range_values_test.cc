#include "calseal/study/range_values.h"

#include <gmock/gmock.h>

#include <cmath>

#include "calseal/digest/catalogue.h"
#include "calseal/digest/crc.h"
#include "calseal/digest/sum.h"
#include "calseal/study/search_hit.h"

namespace calseal {
namespace {

// Straight from the bytes, by the digest layer's own means.
std::uint64_t straight(const SearchAlgorithm& algorithm, ByteView message) {
  if (algorithm.algorithm.kind == AlgorithmKind::kCrc) return Crc(algorithm.algorithm.crc).compute(message);
  Sum sum(algorithm.algorithm.sum);
  sum.update(message);
  return sum.value();
}

Bytes some_bytes(std::size_t size) {
  Bytes bytes(size);
  std::uint64_t state = 0x9e3779b97f4a7c15U;
  for (std::uint8_t& byte : bytes) {
    state = state * 6364136223846793005U + 1442695040888963407U;
    byte = static_cast<std::uint8_t>(state >> 56);
  }
  return bytes;
}

TEST(SearchAlgorithms, NameEveryCatalogueEntryThatFits) {
  std::size_t crcs = 0;
  double kraft = 0, by_difference = 0;
  for (const SearchAlgorithm& one : search_algorithms()) {
    crcs += one.algorithm.kind == AlgorithmKind::kCrc && !one.by_difference ? 1 : 0;
    (one.by_difference ? by_difference : kraft) += std::exp2(-one.cost);
    EXPECT_GE(one.size * 8, static_cast<std::size_t>(one.bits)) << one.algorithm.name;
  }
  EXPECT_EQ(crcs, crc_catalogue().size() - 1);  // all but the one wider than 64 bits
  EXPECT_LE(kraft, 1.0 + 1e-9);
  EXPECT_LE(by_difference, 0.5 + 1e-9);
}

TEST(RangeValues, AnyRangeOfEveryAlgorithm) {
  const Bytes image = some_bytes(5000);  // not a multiple of the grid
  const Grid grid{512, image.size()};
  for (const SearchAlgorithm& algorithm : search_algorithms()) {
    const RangeValues values(algorithm, image, grid);
    for (const Range range : {Range{0, 5000}, Range{0, 512}, Range{512, 4608}, Range{8, 3000},
                              Range{1024, 4999}, Range{3, 2500}, Range{4992, 5000}, Range{520, 521}}) {
      const ByteView message = ByteView(image).subspan(range.begin, range.size());
      EXPECT_EQ(values.group().normal(values.value(range)),
                values.group().normal(straight(algorithm, message)))
          << algorithm.algorithm.name << " " << range.begin << " " << range.end;
    }
  }
}

TEST(RangeValues, OwnSlotAsAConstant) {
  Bytes image = some_bytes(4096);
  const Grid grid{512, image.size()};
  for (std::size_t i = 0; i < search_algorithms().size(); ++i) {
    const SearchAlgorithm& algorithm = search_algorithms()[i];
    const RangeValues values(algorithm, image, grid);
    Hit hit;
    hit.algorithm = i;
    hit.coverage = {512, 3584};
    hit.slot = 1000;
    for (const auto& [own, as] :
         {std::pair(Layout::Own::kAsZeros, 0x00), std::pair(Layout::Own::kAsOnes, 0xff)}) {
      hit.layout.own = own;
      Bytes counted(image.begin() + 512, image.begin() + 3584);
      std::fill_n(counted.begin() + 1000 - 512, hit.size(), static_cast<std::uint8_t>(as));
      EXPECT_EQ(values.group().normal(value_over(values, image, hit)),
                values.group().normal(straight(algorithm, counted)))
          << algorithm.algorithm.name;
    }
  }
}

}  // namespace
}  // namespace calseal
