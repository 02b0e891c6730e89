// Where the parts of an image begin and end, as far as its bytes show it.
#pragma once

#include <cstdint>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/study/range_values.h"

namespace calseal {

// Grid points in the order in which one would guess them as a part's edge: the image's ends, then where
// unused space or padding meets content, then where the histogram of bytes changes most; rounder numbers
// first among like. The guess costs bits: more for a point far down.
class Edges {
 public:
  Edges(ByteView image, const Grid& grid);

  double begin_cost(std::size_t point) const { return costs_[point]; }
  // Of a range's end, when its begin is known: named like a begin, or as one of the next edges that show.
  double end_cost(std::size_t begin, std::size_t end) const;
  double range_cost(std::size_t begin, std::size_t end) const;
  // Of a range's begin, when the range before it ended at point `from`: the same point, or one of the next
  // that show.
  double next_begin_cost(std::size_t from, std::size_t begin) const;
  // The same for an end where, behind padding, a few bytes stand alone: they wait to be explained. Large
  // elsewhere.
  double lone_end_cost(std::size_t end) const { return lone_[end] ? lone_cost_ : 99; }
  // All bytes between this point and the next are one value.
  bool is_blank(std::size_t point) const { return blank_[point]; }
  // The likeliest points first.
  const std::vector<std::size_t>& ranked() const { return ranked_; }
  // Points that show an edge: unused space, padding, or another kind of content. Ascending.
  const std::vector<std::size_t>& shown() const { return shown_; }

 private:
  std::vector<double> costs_;
  std::vector<std::size_t> ranked_, shown_;
  std::vector<std::uint32_t> shown_before_;  // by point
  std::vector<bool> lone_, blank_;           // by point; by block
  double lone_cost_ = 0;
};

}  // namespace calseal
