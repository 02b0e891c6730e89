// Where the parts of an image begin and end, as far as its bytes show it.
#pragma once

#include <cstdint>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/study/range_values.h"

namespace calseal {

// How likely each grid point is a part's begin or end, before any checksum is known: the image's ends, then
// where unused space or padding meets content, then where the content looks different from one block to the
// next. All shares are those of one distribution: over all ranges they sum to at most 1 (Kraft), so that
// -log2 of a share is what a range costs to name.
class Edges {
 public:
  Edges(ByteView image, const Grid& grid);

  double begin_cost(std::size_t point) const { return begin_costs_[point]; }
  // Of a range's end, when its begin is known: the next edge that shows or a later one, a lone end, or any.
  double end_cost(std::size_t begin, std::size_t end) const;
  double range_cost(std::size_t begin, std::size_t end) const;
  // Of a range's begin, when the range before it ended at point `from`: the same point, or one of the next
  // that show.
  double next_begin_cost(std::size_t from, std::size_t begin) const;
  // Of a begin with unused space, for whoever names it otherwise than by begin_cost(), which has it in it.
  double blank_begin_cost(std::size_t point) const;
  // Behind padding a few bytes stand alone before this point: they wait to be explained.
  bool is_lone(std::size_t point) const { return lone_[point]; }
  // All bytes between this point and the next are one value.
  bool is_blank(std::size_t point) const { return blank_[point]; }
  // The likeliest points first.
  const std::vector<std::size_t>& ranked() const { return ranked_; }
  // Points that show an edge: unused space, padding, or another kind of content. Ascending.
  const std::vector<std::size_t>& shown() const { return shown_; }

 private:
  std::vector<double> begin_costs_;
  std::vector<std::size_t> ranked_, shown_;
  std::vector<std::uint32_t> shown_before_, lone_before_;  // by point
  std::vector<bool> lone_, blank_;                         // by point; by block
};

}  // namespace calseal
