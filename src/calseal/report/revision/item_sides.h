// What is known of a calibration item on both sides of a revision.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/report/html/value_picture.h"
#include "calseal/report/revision/sides.h"
#include "calseal/report/revision/windows.h"

namespace calseal {

// All values of an item, or none where a byte of it is not known.
std::vector<ShownValue> values_of(const Item& item, const Image& image);
// Whether every byte of it is known.
bool knows_item(const Image& image, const Item& item);

// Per element: whether a change touches it.
std::vector<bool> touched_elements(const Item& item, const std::vector<PlacedChange>& changes);

// For every item of the map whether one of these changes, ascending, touches it.
std::vector<bool> touched_items(const RegionMap& map, const std::vector<PlacedChange>& changes);

// An axis of an item, on either side; empty where the item has none.
struct FigureAxis {
  std::vector<ShownValue> before, after;
  std::vector<bool> moved;  // per point; empty: none changed
  std::string unit;
};
FigureAxis axis_of(const RegionMap& map, const std::optional<std::size_t>& index,
                   const std::vector<PlacedChange>& changes, const Sides& sides);

// "changed", or what a bundle that nobody vouches for says of itself.
const char* changed_words(bool claimed);

}  // namespace calseal
