// A set of addresses kept as sorted, disjoint, non-adjacent ranges.
#pragma once

#include <utility>
#include <vector>

#include "calseal/base/bytes.h"

namespace calseal {

// Value type; every operation keeps the ranges sorted, disjoint, non-empty and merged where they touch.
class RangeSet {
 public:
  RangeSet() = default;
  explicit RangeSet(Range range) { add(range); }
  // Of ranges in any order, which may overlap. O(n log n).
  static RangeSet of(std::vector<Range> ranges);

  // Adds a range, merging with what it touches. Appending in ascending order is O(1), else O(n).
  void add(Range range);
  // Removes a range, splitting where needed. O(n).
  void remove(Range range);
  // All ranges of another set at once. O(n + m).
  void add(const RangeSet& other);
  void remove(const RangeSet& other);

  bool contains(std::uint64_t at) const;
  // True when every address of `range` is in the set; the empty range always is.
  bool contains(Range range) const;
  bool overlaps(Range range) const;
  // The part of this set inside `range`.
  RangeSet within(Range range) const;
  RangeSet intersect(const RangeSet& other) const;

  // Number of addresses in the set.
  std::uint64_t size() const;
  bool empty() const { return ranges_.empty(); }
  const std::vector<Range>& ranges() const& { return ranges_; }
  // Of a temporary set: by value, so that a loop over it outlives the set.
  std::vector<Range> ranges() && { return std::move(ranges_); }

  friend bool operator==(const RangeSet&, const RangeSet&) = default;

 private:
  std::vector<Range> ranges_;
};

}  // namespace calseal
