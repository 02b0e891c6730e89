// Calibration values before and after, as pictures that also print: a curve drawn, a table of numbers.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/report/html/markup.h"

namespace calseal {

// One value of an item: as text with all its digits, and roughly as a number, for drawing.
struct ShownValue {
  std::string text;
  std::optional<double> number;  // nothing when undefined
};
// What a Quantity's text says; "~" and "undefined" included.
ShownValue shown_value(const std::string& text);

// A curve: one value for each point, each side over its own axis. `before` is empty when nobody knows it.
struct CurvePicture {
  std::vector<ShownValue> x_before, x_after;  // an axis that is empty or falls: both sides over point numbers
  bool axis_changed = false;
  std::vector<ShownValue> before, after;
  std::string x_unit, unit;
  std::string spoken;
};
Html curve_picture(const CurvePicture& picture);

// Rows and columns of values; `before` as above. Where they differ a cell holds both and says up or down by a
// sign. Rows and columns far from any change are left out, and the page says which are there.
struct GridPicture {
  std::uint64_t columns = 1, rows = 1;
  std::vector<ShownValue> x, y;  // heads; empty: numbered
  std::vector<ShownValue> x_before, y_before;
  std::vector<bool> x_moved, y_moved;     // heads that changed; empty: none did
  std::vector<ShownValue> before, after;  // row by row
  std::vector<bool> changed;              // per element
  std::string x_unit, y_unit, unit, caption;

  bool moved(std::uint64_t column, std::uint64_t row) const;  // a head of this cell changed
};
Html grid_picture(const GridPicture& picture);

// The same as a small picture: where the changed cells lie, how much they moved, and which way. Bars at its
// edges stand for heads that changed.
Html cells_picture(const GridPicture& picture);

// "+12.5", "-0.02": the difference in the digits that both texts have; empty where it says nothing.
std::string difference_text(const ShownValue& before, const ShownValue& after);

}  // namespace calseal
