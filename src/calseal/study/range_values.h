// One checksum algorithm over many ranges of one image: prefix values at grid points give any range at once.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/digest/crc.h"
#include "calseal/study/search_algorithms.h"

namespace calseal {

// What CRCs and sums have in common. Values form a group: `plus` is exclusive or for CRCs, addition or
// exclusive or for sums. A message A followed by B has the value shift(A, |B|) plus of(B); that of a sum does
// not move. Init and xorout are laid on from outside:
//   algorithm's value = shift(init, |message|) plus of(message), then exclusive or xorout.
class ValueGroup {
 public:
  explicit ValueGroup(const SearchAlgorithm& algorithm);

  std::uint64_t plus(std::uint64_t a, std::uint64_t b) const;
  std::uint64_t minus(std::uint64_t a, std::uint64_t b) const;
  // Of a message that begins on a word; its last word may be partial.
  std::uint64_t of(ByteView message) const;
  // O(log bytes).
  std::uint64_t shift(std::uint64_t value, std::uint64_t bytes) const;

  std::uint64_t init() const { return init_; }
  std::uint64_t xorout() const { return xorout_; }
  bool is_crc() const { return crc_.has_value(); }
  bool adds() const { return !crc_ && sum_.operation != SumOperation::kXor; }
  // 2^bits - 1; and for one's complement sums the modulus, where 0 stands for itself and all ones.
  std::uint64_t mask() const { return mask_; }
  bool end_around() const { return !crc_ && sum_.operation == SumOperation::kAddEndAround; }
  // A value as the group has it: all ones become 0 in a one's complement sum.
  std::uint64_t normal(std::uint64_t value) const { return end_around() && value == mask_ ? 0 : value; }

 private:
  std::optional<Crc> crc_;  // linear: init and xorout 0
  SumParameters sum_;
  std::uint64_t init_ = 0, xorout_ = 0, mask_ = 0;
};

// Grid points of an image: multiples of `grid`, and its end.
struct Grid {
  std::uint64_t step = 4096;  // multiple of 8
  std::uint64_t size = 0;     // of the image
  std::size_t count() const { return static_cast<std::size_t>((size + step - 1) / step) + 1; }
  std::uint64_t at(std::size_t point) const { return std::min<std::uint64_t>(point * step, size); }
};

class RangeValues {
 public:
  // `image` outlives it. O(size).
  RangeValues(const SearchAlgorithm& algorithm, ByteView image, const Grid& grid);

  const ValueGroup& group() const { return group_; }
  // Of the block between two neighbouring grid points.
  std::uint64_t block(std::size_t point) const { return blocks_[point]; }
  // of() a range, which begins on a multiple of the word. O(grid + log size).
  std::uint64_t plain(Range range) const;
  // The algorithm's own value, init and xorout included; a one's complement sum gives 0 for all ones.
  std::uint64_t value(Range range) const;

 private:
  std::uint64_t prefix(std::uint64_t end) const;  // of [0, end)
  ValueGroup group_;
  ByteView image_;
  Grid grid_;
  std::uint64_t unit_;
  std::vector<std::uint64_t> blocks_, prefixes_;
};

}  // namespace calseal
