// Words for changed items: how far values moved, and which cell of an item is meant.
#pragma once

#include <string>

#include "calseal/change/by_item.h"

namespace calseal {

// "12 of 160 cells, +2 to +12 Nm, mean +7.5"; of several items "12 of their 160 cells".
std::string movement_words(const Movement& movement, const Item& item, bool several = false);

// "its axis changed", "its axes changed"; only where one did.
std::string axes_words(const AxesChanged& axes);

// Values of one changed element: "312", "324". Where rounding would make them the same, with all digits.
struct ValueWords {
  std::string before, after, difference;  // difference: empty where there is none
};
ValueWords value_words(const ChangedItem& item, std::size_t index);

// The unit behind a value, with a blank; empty without a unit.
std::string unit_words(const Item& item);

// Names the cells of one changed item.
class CellNames {
 public:
  CellNames(const RegionMap& map, const ChangedItem& item, const Image& before, const Image& after);

  // "2,800 1/min, 50 mg" by the axes' values; where a point of an axis changed "2,800 -> 3,000 1/min". By
  // number, "[1][3]" (row, column), where an axis is missing, unknown or does not rise.
  std::string of(std::uint64_t element) const;

 private:
  std::string point(const Item& axis, std::uint64_t at) const;

  const Item& item_;
  const Image& before_;
  const Image& after_;
  const Item* x_ = nullptr;  // nothing: cells are numbered
  const Item* y_ = nullptr;
};

}  // namespace calseal
