#include "calseal/report/html/value_picture.h"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::uint64_t kMostColumns = 20, kMostRows = 24;  // of a table shown whole or in part

constexpr double kWidth = 600, kHeight = 200, kMargin = 10;  // of a curve, in its own units

std::size_t decimals(const std::string& text) {
  const std::size_t point = text.find('.');
  return point == std::string::npos ? 0 : text.size() - point - 1;
}

std::string fixed(double value, int places) {
  char text[64];
  const auto [end, error] = std::to_chars(text, text + sizeof text, value, std::chars_format::fixed, places);
  return error == std::errc() ? std::string(text, end) : std::string();
}

struct Scale {
  double least = 0, most = 1;
  double at(double value, double from, double to) const {
    return most > least ? from + (value - least) / (most - least) * (to - from) : (from + to) / 2;
  }
};

Scale scale_of(const std::vector<const std::vector<ShownValue>*>& lists) {
  Scale scale;
  bool first = true;
  for (const auto* list : lists) {
    for (const ShownValue& value : *list) {
      if (!value.number) continue;
      scale.least = first ? *value.number : std::min(scale.least, *value.number);
      scale.most = first ? *value.number : std::max(scale.most, *value.number);
      first = false;
    }
  }
  return scale;
}

std::string extreme_text(const std::vector<const std::vector<ShownValue>*>& lists, double number) {
  for (const auto* list : lists) {
    for (const ShownValue& value : *list) {
      if (value.number && *value.number == number) return value.text;
    }
  }
  return {};
}

// Whether axis values give each of so many points its place; the ends of an axis are often repeated.
bool places_points(const std::vector<ShownValue>& x, std::size_t points) {
  if (x.size() != points || x.empty()) return false;
  for (std::size_t i = 0; i < points; ++i) {
    if (!x[i].number || (i > 0 && *x[i].number < *x[i - 1].number)) return false;
  }
  return points == 1 || *x.back().number > *x.front().number;
}

// Where the points of both sides stand: at their axis values, or all at their numbers.
struct Positions {
  std::vector<ShownValue> before, after;
  bool numbered = false;
};

Positions positions(const CurvePicture& picture) {
  const std::size_t points = picture.after.size();
  if (places_points(picture.x_after, points) &&
      (picture.before.empty() || places_points(picture.x_before, points)))
    return {picture.before.empty() ? std::vector<ShownValue>() : picture.x_before, picture.x_after, false};
  std::vector<ShownValue> numbers;
  for (std::size_t i = 0; i < points; ++i) numbers.push_back({std::to_string(i), static_cast<double>(i)});
  return {numbers, numbers, true};
}

struct Point {
  double x, y;
};

// One for each value; nothing where it is undefined.
using Points = std::vector<std::optional<Point>>;

Points points_of(const std::vector<ShownValue>& x, const std::vector<ShownValue>& values, const Scale& across,
                 const Scale& up) {
  Points points(values.size());
  for (std::size_t i = 0; i < values.size() && i < x.size(); ++i) {
    if (!values[i].number || !x[i].number) continue;
    points[i] = {across.at(*x[i].number, kMargin, kWidth - kMargin),
                 up.at(*values[i].number, kHeight - kMargin, kMargin)};
  }
  return points;
}

Html line_of(MarkupName name, const Points& points) {
  std::string path;
  for (const std::optional<Point>& point : points) {
    if (point) path += (path.empty() ? "" : " ") + fixed(point->x, 1) + "," + fixed(point->y, 1);
  }
  return element(name, {{"points", path}});
}

Html dots_of(const Points& before, const Points& after) {
  Html dots;
  for (std::size_t i = 0; i < after.size(); ++i) {
    if (!after[i]) continue;
    const bool moved =
        i < before.size() && (!before[i] || before[i]->y != after[i]->y || before[i]->x != after[i]->x);
    dots +=
        element(moved ? MarkupName("circle.moved") : MarkupName("circle.kept"),
                {{"cx", fixed(after[i]->x, 1)}, {"cy", fixed(after[i]->y, 1)}, {"r", moved ? "4.5" : "2.5"}});
  }
  return dots;
}

// A stroke for each point of an axis, from `top` to `bottom`.
Html ticks_of(MarkupName name, const std::vector<ShownValue>& x, const Scale& across, double top,
              double bottom) {
  std::string path;
  for (const ShownValue& value : x) {
    if (value.number)
      path += "M" + fixed(across.at(*value.number, kMargin, kWidth - kMargin), 1) + " " + fixed(top, 0) +
              "V" + fixed(bottom, 0);
  }
  return path.empty() ? Html() : element(name, {{"d", path}});
}

std::string with_unit(const std::string& text, const std::string& unit) {
  return unit.empty() ? text : text + " " + unit;
}

std::string ends_words(const std::vector<ShownValue>& x, const std::string& unit) {
  return x.empty() ? "not known here" : x.front().text + " to " + with_unit(x.back().text, unit);
}

// "axis before: 0 to 1000 1/min (2 of 16 points moved)"
Html axis_words(const CurvePicture& picture) {
  if (!picture.axis_changed) return {};
  std::size_t moved = 0;
  for (std::size_t i = 0; i < picture.x_before.size() && i < picture.x_after.size(); ++i)
    moved += picture.x_before[i].text != picture.x_after[i].text ? 1 : 0;
  const std::string count =
      moved == 0 ? "" : ": " + grouped(moved) + " of " + grouped(picture.x_after.size()) + " points moved";
  return element("p.axis.axis-changed", element("span", "axis changed" + count),
                 element("span", "before: " + ends_words(picture.x_before, picture.x_unit)),
                 element("span", "after: " + ends_words(picture.x_after, picture.x_unit)));
}

Html curve_svg(const CurvePicture& picture, const Positions& x, const Scale& across, const Scale& up) {
  const Points before = points_of(x.before, picture.before, across, up);
  const Points after = points_of(x.after, picture.after, across, up);
  Html drawn;
  for (const double y : {kMargin, kHeight / 2, kHeight - kMargin}) {
    drawn += element("line.grid",
                     {{"x1", "0"}, {"x2", fixed(kWidth, 0)}, {"y1", fixed(y, 0)}, {"y2", fixed(y, 0)}});
  }
  if (picture.axis_changed && !x.numbered) {
    drawn += ticks_of("path.tick-before", x.before, across, 0, kMargin);
    drawn += ticks_of("path.tick-after", x.after, across, kHeight - kMargin, kHeight);
  }
  if (!picture.before.empty()) drawn += line_of("polyline.before", before);
  drawn += line_of("polyline.after", after);
  drawn += dots_of(before, after);
  return element(
      "svg.curve",
      {{"viewBox", "0 0 600 200"}, {"role", "img"}, {"aria-label", picture.spoken}, {"focusable", "false"}},
      drawn);
}

// The head of a row or column: where it changed, the value before it struck out.
Html head_cell(const char* scope, const std::vector<ShownValue>& heads, const std::vector<ShownValue>& before,
               const std::vector<bool>& moved, std::uint64_t at) {
  const std::string text = at < heads.size() ? heads[at].text : "[" + std::to_string(at) + "]";
  if (at >= moved.size() || !moved[at]) return element("th", {{"scope", scope}}, text);
  return element("th.moved", {{"scope", scope}}, element("strong", text),
                 at < before.size() ? element("del", before[at].text) : Html());
}

Html value_cell(const GridPicture& picture, std::uint64_t i) {
  const std::string& after = picture.after[i].text;
  if (!picture.changed[i]) return element("td", after);
  if (i >= picture.before.size()) return element("td.moved", element("strong", after));
  const ShownValue& was = picture.before[i];
  const bool known = was.number && picture.after[i].number;
  const bool up = known && *picture.after[i].number > *was.number;
  const bool down = known && *picture.after[i].number < *was.number;
  const Html sign = element("span.sign", up ? "▲" : down ? "▼" : "•");
  return element(up     ? MarkupName("td.moved.up")
                 : down ? MarkupName("td.moved.down")
                        : MarkupName("td.moved"),
                 element("strong", sign, after), element("del", was.text));
}

// Bars at the upper and left edge of a picture of cells, beside the heads that changed.
std::string edge_bars(const GridPicture& picture, std::uint64_t columns, std::uint64_t rows) {
  std::string bars;
  for (std::uint64_t x = 0; x < columns && x < picture.x_moved.size(); ++x) {
    if (picture.x_moved[x]) bars += "M" + std::to_string(x * 10 + 1) + " -6h8v4h-8z";
  }
  for (std::uint64_t y = 0; y < rows && y < picture.y_moved.size(); ++y) {
    if (picture.y_moved[y]) bars += "M-6 " + std::to_string(y * 10 + 1) + "v8h4v-8z";
  }
  return bars;
}

}  // namespace

ShownValue shown_value(const std::string& text) {
  ShownValue value{text, std::nullopt};
  const char* begin = text.data() + (text.starts_with("~") ? 1 : 0);
  double number = 0;
  const auto [end, error] = std::from_chars(begin, text.data() + text.size(), number);
  if (error == std::errc() && end != begin && std::isfinite(number)) value.number = number;
  return value;
}

std::string difference_text(const ShownValue& before, const ShownValue& after) {
  if (!before.number || !after.number) return {};
  if (before.text.find('e') != std::string::npos || after.text.find('e') != std::string::npos) return {};
  const std::size_t places = std::min<std::size_t>(std::max(decimals(before.text), decimals(after.text)), 6);
  const double difference = *after.number - *before.number;
  const std::string text = fixed(difference, static_cast<int>(places));
  return difference > 0 ? "+" + text : text;
}

Html curve_picture(const CurvePicture& picture) {
  const std::vector<const std::vector<ShownValue>*> both = {&picture.before, &picture.after};
  const Positions x = positions(picture);
  const std::vector<const std::vector<ShownValue>*> axes = {&x.before, &x.after};
  const Scale up = scale_of(both), across = scale_of(axes);
  const Html top =
      element("p.axis", {{"aria-hidden", "true"}},
              element("span", with_unit(extreme_text(both, up.most), picture.unit)),
              picture.before.empty() ? Html()
                                     : element("span.curve-key", element("span.dash", "- -"), " before  ",
                                               element("span.full", "—"), " after"));
  const Html bottom = element(
      "p.axis", {{"aria-hidden", "true"}},
      element("span", with_unit(extreme_text(both, up.least), picture.unit)),
      element("span", (x.numbered ? "points " : "") + extreme_text(axes, across.least) + " to " +
                          with_unit(extreme_text(axes, across.most), x.numbered ? "" : picture.x_unit)));
  return element("div.curve", top, curve_svg(picture, x, across, up), bottom, axis_words(picture));
}

bool GridPicture::moved(std::uint64_t column, std::uint64_t row) const {
  return (column < x_moved.size() && x_moved[column]) || (row < y_moved.size() && y_moved[row]);
}

Html grid_picture(const GridPicture& picture) {
  // The hull of what changed, and one row and column around it.
  std::uint64_t left = picture.columns, right = 0, top = picture.rows, bottom = 0;
  for (std::uint64_t i = 0; i < picture.changed.size(); ++i) {
    if (!picture.changed[i] && !picture.moved(i % picture.columns, i / picture.columns)) continue;
    left = std::min(left, i % picture.columns), right = std::max(right, i % picture.columns + 1);
    top = std::min(top, i / picture.columns), bottom = std::max(bottom, i / picture.columns + 1);
  }
  const bool whole = picture.columns <= kMostColumns && picture.rows <= kMostRows;
  if (whole || right == 0) left = top = 0, right = picture.columns, bottom = picture.rows;
  left -= left > 0 ? 1 : 0, top -= top > 0 ? 1 : 0;
  right = std::min({right + 1, picture.columns, left + kMostColumns});
  bottom = std::min({bottom + 1, picture.rows, top + kMostRows});

  Html first =
      element("th.corner", {{"scope", "col"}},
              picture.y_unit.empty() && picture.x_unit.empty() ? "row, column"
                                                               : picture.y_unit + " \\ " + picture.x_unit);
  for (std::uint64_t x = left; x < right; ++x)
    first += head_cell("col", picture.x, picture.x_before, picture.x_moved, x);
  Html rows;
  for (std::uint64_t y = top; y < bottom; ++y) {
    Html row = head_cell("row", picture.y, picture.y_before, picture.y_moved, y);
    for (std::uint64_t x = left; x < right; ++x) row += value_cell(picture, y * picture.columns + x);
    rows += element("tr", row);
  }
  Html out = element("div.scroll", {{"tabindex", "0"}, {"role", "region"}, {"aria-label", picture.caption}},
                     element("table.grid", element("caption", picture.caption),
                             element("thead", element("tr", first)), element("tbody", rows)));
  if (right - left < picture.columns || bottom - top < picture.rows) {
    out += element("p.quiet", "Rows " + std::to_string(top) + " to " + std::to_string(bottom - 1) + " of " +
                                  grouped(picture.rows) + ", columns " + std::to_string(left) + " to " +
                                  std::to_string(right - 1) + " of " + grouped(picture.columns) + ".");
  }
  return out;
}

Html cells_picture(const GridPicture& picture) {
  constexpr std::uint64_t kMost = 64;  // cells either way; more are drawn as if there were no more
  const std::uint64_t columns = std::min(picture.columns, kMost), rows = std::min(picture.rows, kMost);
  double largest = 0;
  const auto moved = [&](std::uint64_t i) {
    if (i >= picture.before.size() || !picture.before[i].number || !picture.after[i].number) return 0.0;
    return *picture.after[i].number - *picture.before[i].number;
  };
  for (std::uint64_t i = 0; i < picture.changed.size(); ++i) largest = std::max(largest, std::abs(moved(i)));
  // One path for each look keeps the page small.
  std::string kept, up, down;
  for (std::uint64_t y = 0; y < rows; ++y) {
    for (std::uint64_t x = 0; x < columns; ++x) {
      const std::uint64_t i = y * picture.columns + x;
      if (!picture.changed[i]) {
        kept += "M" + std::to_string(x * 10 + 4) + " " + std::to_string(y * 10 + 4) + "h2v2h-2z";
        continue;
      }
      const double by = moved(i);
      // From half a cell for the least change to nearly a whole one for the largest.
      const double size = largest > 0 ? 4 + 4.5 * std::abs(by) / largest : 7;
      const double half = size / 2;
      const std::string from = "M" + fixed(static_cast<double>(x) * 10 + 5 - half, 1) + " " +
                               fixed(static_cast<double>(y) * 10 + 5 + (by < 0 ? -half : half), 1) + "h" +
                               fixed(size, 1) + "l" + fixed(-half, 1) + " " +
                               fixed(by < 0 ? size : -size, 1) + "z";
      (by < 0 ? down : up) += from;
    }
  }
  const std::string bars = edge_bars(picture, columns, rows);
  Html cells;
  if (!kept.empty()) cells += element("path.kept", {{"d", kept}});
  if (!up.empty()) cells += element("path.up", {{"d", up}});
  if (!down.empty()) cells += element("path.down", {{"d", down}});
  if (!bars.empty()) cells += element("path.axis-moved", {{"d", bars}});
  const std::string corner = bars.empty() ? "0 0 " : "-8 -8 ";
  const std::uint64_t edge = bars.empty() ? 0 : 8;
  return element(
      "svg.cells",
      {{"viewBox", corner + std::to_string(columns * 10 + edge) + " " + std::to_string(rows * 10 + edge)},
       {"role", "img"},
       {"aria-label", picture.caption + ": where it changed; triangles point up where it rose" +
                          (bars.empty() ? "" : "; bars at the edge mark axis points that moved")},
       {"focusable", "false"}},
      cells);
}

}  // namespace calseal
