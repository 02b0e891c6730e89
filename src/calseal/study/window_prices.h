// What the agreement of a sum or an exclusive or is worth in this image: as little as its own bytes say. The
// values of structured data are few, and those of random data many.
#pragma once

#include <cstdint>
#include <map>
#include <tuple>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/study/range_values.h"
#include "calseal/study/search_hit.h"

namespace calseal {

class WindowPrices {
 public:
  // `image` outlives it.
  WindowPrices(ByteView image, const Grid& grid) : image_(image), grid_(grid) {}

  // Bits that the hit's agreement is worth at the most: those of the rarest of what follows. A CRC has all
  // its bits. Of a sum:
  //  - how seldom the image's own windows have that value: windows of whole words anywhere in the coverage
  //  and
  //    in the whole image, but for those that begin and end on the grid, which may be checksums themselves;
  //  - how far the sums over windows of that length spread, by the spread over blocks of the coverage;
  //  - how seldom the image's own words are the stored one.
  double bits(const Hit& hit);

 private:
  using Key =
      std::tuple<std::size_t, Range, std::uint64_t, std::uint64_t>;  // algorithm, where, stride, value

  // The value's windows, as a share of all: whole words in `range`, their ends `stride` bytes apart.
  double share(const SearchAlgorithm& algorithm, std::size_t index, Range range, std::uint64_t stride,
               std::uint64_t value, const Hit& hit);
  double spread_bits(const SearchAlgorithm& algorithm, Range coverage) const;
  double word_bits(const Hit& hit);

  ByteView image_;
  Grid grid_;
  std::map<Key, double> shares_;
  std::map<std::pair<std::uint64_t, std::size_t>, double> words_;  // stored word, bytes
};

}  // namespace calseal
