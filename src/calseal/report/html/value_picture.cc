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

// Axis values where they rise, else the numbers of the points.
std::vector<ShownValue> positions(const CurvePicture& picture) {
  std::vector<ShownValue> numbered;
  for (std::size_t i = 0; i < picture.after.size(); ++i)
    numbered.push_back({std::to_string(i), static_cast<double>(i)});
  if (picture.x.size() != picture.after.size()) return numbered;
  for (std::size_t i = 0; i < picture.x.size(); ++i) {
    if (!picture.x[i].number || (i > 0 && *picture.x[i].number <= *picture.x[i - 1].number)) return numbered;
  }
  return picture.x;
}

struct Point {
  double x, y;
};

std::vector<Point> points_of(const std::vector<ShownValue>& x, const std::vector<ShownValue>& values,
                             const Scale& across, const Scale& up) {
  std::vector<Point> points;
  for (std::size_t i = 0; i < values.size() && i < x.size(); ++i) {
    if (!values[i].number || !x[i].number) continue;
    points.push_back({across.at(*x[i].number, kMargin, kWidth - kMargin),
                      up.at(*values[i].number, kHeight - kMargin, kMargin)});
  }
  return points;
}

Html line_of(MarkupName name, const std::vector<Point>& points) {
  std::string path;
  for (const Point& point : points)
    path += (path.empty() ? "" : " ") + fixed(point.x, 1) + "," + fixed(point.y, 1);
  return element(name, {{"points", path}});
}

std::string with_unit(const std::string& text, const std::string& unit) {
  return unit.empty() ? text : text + " " + unit;
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
  const Scale up = scale_of(both);
  const std::vector<ShownValue> x = positions(picture);
  const bool numbered = picture.x.empty() || x.front().text != picture.x.front().text;
  const Scale across = scale_of({&x});
  const std::vector<Point> before = points_of(x, picture.before, across, up);
  const std::vector<Point> after = points_of(x, picture.after, across, up);
  Html drawn;
  for (const double y : {kMargin, kHeight / 2, kHeight - kMargin}) {
    drawn += element("line.grid",
                     {{"x1", "0"}, {"x2", fixed(kWidth, 0)}, {"y1", fixed(y, 0)}, {"y2", fixed(y, 0)}});
  }
  if (!before.empty()) drawn += line_of("polyline.before", before);
  drawn += line_of("polyline.after", after);
  for (std::size_t i = 0; i < after.size(); ++i) {
    const bool moved = i < before.size() && before[i].y != after[i].y;
    drawn +=
        element(moved ? MarkupName("circle.moved") : MarkupName("circle.kept"),
                {{"cx", fixed(after[i].x, 1)}, {"cy", fixed(after[i].y, 1)}, {"r", moved ? "4.5" : "2.5"}});
  }
  const Html svg = element(
      "svg.curve",
      {{"viewBox", "0 0 600 200"}, {"role", "img"}, {"aria-label", picture.spoken}, {"focusable", "false"}},
      drawn);
  const Html top =
      element("p.axis", {{"aria-hidden", "true"}},
              element("span", with_unit(extreme_text(both, up.most), picture.unit)),
              picture.before.empty() ? Html()
                                     : element("span.curve-key", element("span.dash", "- -"), " before  ",
                                               element("span.full", "—"), " after"));
  const Html bottom = element("p.axis", {{"aria-hidden", "true"}},
                              element("span", with_unit(extreme_text(both, up.least), picture.unit)),
                              element("span", (numbered ? "points " : "") + x.front().text + " to " +
                                                  with_unit(x.back().text, numbered ? "" : picture.x_unit)));
  return element("div.curve", top, svg, bottom);
}

Html grid_picture(const GridPicture& picture) {
  // The hull of what changed, and one row and column around it.
  std::uint64_t left = picture.columns, right = 0, top = picture.rows, bottom = 0;
  for (std::uint64_t i = 0; i < picture.changed.size(); ++i) {
    if (!picture.changed[i]) continue;
    left = std::min(left, i % picture.columns), right = std::max(right, i % picture.columns + 1);
    top = std::min(top, i / picture.columns), bottom = std::max(bottom, i / picture.columns + 1);
  }
  const bool whole = picture.columns <= kMostColumns && picture.rows <= kMostRows;
  if (whole || right == 0) left = top = 0, right = picture.columns, bottom = picture.rows;
  left -= left > 0 ? 1 : 0, top -= top > 0 ? 1 : 0;
  right = std::min({right + 1, picture.columns, left + kMostColumns});
  bottom = std::min({bottom + 1, picture.rows, top + kMostRows});

  const auto head = [](const std::vector<ShownValue>& heads, std::uint64_t at) {
    return at < heads.size() ? heads[at].text : "[" + std::to_string(at) + "]";
  };
  Html first =
      element("th.corner", {{"scope", "col"}},
              picture.y_unit.empty() && picture.x_unit.empty() ? "row, column"
                                                               : picture.y_unit + " \\ " + picture.x_unit);
  for (std::uint64_t x = left; x < right; ++x) first += element("th", {{"scope", "col"}}, head(picture.x, x));
  Html rows;
  for (std::uint64_t y = top; y < bottom; ++y) {
    Html row = element("th", {{"scope", "row"}}, head(picture.y, y));
    for (std::uint64_t x = left; x < right; ++x) {
      const std::uint64_t i = y * picture.columns + x;
      const std::string& after = picture.after[i].text;
      if (!picture.changed[i]) {
        row += element("td", after);
        continue;
      }
      if (i >= picture.before.size()) {
        row += element("td.moved", element("strong", after));
        continue;
      }
      const auto& was = picture.before[i];
      const bool up = was.number && picture.after[i].number && *picture.after[i].number > *was.number;
      const bool down = was.number && picture.after[i].number && *picture.after[i].number < *was.number;
      const Html sign = element("span.sign", up ? "▲" : down ? "▼" : "•");
      row += element(up     ? MarkupName("td.moved.up")
                     : down ? MarkupName("td.moved.down")
                            : MarkupName("td.moved"),
                     element("strong", sign, after), element("del", was.text));
    }
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
  Html cells;
  if (!kept.empty()) cells += element("path.kept", {{"d", kept}});
  if (!up.empty()) cells += element("path.up", {{"d", up}});
  if (!down.empty()) cells += element("path.down", {{"d", down}});
  return element("svg.cells",
                 {{"viewBox", "0 0 " + std::to_string(columns * 10) + " " + std::to_string(rows * 10)},
                  {"role", "img"},
                  {"aria-label", picture.caption + ": where it changed; triangles point up where it rose"},
                  {"focusable", "false"}},
                 cells);
}

}  // namespace calseal
