#include "calseal/report/html/time_picture.h"

#include <algorithm>
#include <array>

namespace calseal {
namespace {

constexpr std::int64_t kNearest = 34;     // thousandths of the width between two marks of a row
constexpr std::int64_t kTimeMargin = 20;  // thousandths at either end

struct Shape {
  MarkupName name;
  std::string_view path;  // around 0,0; within 6 units
};

constexpr std::array<Shape, 9> kShapes = {{
    {"path.hollow", "M-5 -5 H5 V5 H-5 Z"},                                 // begun: a box
    {"path.full", "M-5 -5 H5 V5 H-5 Z"},                                   // sealed: a full box
    {"path.hollow", "M-4.5 -5.5 L5.5 0 L-4.5 5.5 Z"},                      // handed over: an arrow
    {"path.hollow", "M5.2 0 A5.2 5.2 0 1 1 -5.2 0 A5.2 5.2 0 1 1 5.2 0"},  // heard: a ring
    {"path.full", "M-5.8 -4.5 H5.8 L0 5.5 Z"},                             // written: an arrow down
    {"path.stroke", "M-5.5 0 L-1.5 4.5 L6 -5"},                            // proved: a tick
    {"path.hollow", "M0 -6 L6 0 L0 6 L-6 0 Z"},                            // driven: a diamond
    {"path.stroke", "M-5 -5 L5 5 M5 -5 L-5 5"},                            // stopped: a cross
    {"path.full", "M2.4 0 A2.4 2.4 0 1 1 -2.4 0 A2.4 2.4 0 1 1 2.4 0"},    // noted: a dot
}};

Html drawn(TimeSign sign) {
  const Shape& shape = kShapes[static_cast<std::size_t>(sign)];
  return element(shape.name, {{"d", std::string(shape.path)}});
}

std::string tenths(std::int64_t thousandths) {
  return std::to_string(thousandths / 10) + "." + std::to_string(thousandths % 10) + "%";
}

// Where the marks of a row stand, in thousandths: to scale, then pushed apart, within the width.
std::vector<std::int64_t> spread(const TimeRow& row, std::int64_t from, std::int64_t span) {
  std::vector<std::int64_t> places;
  const auto room = static_cast<std::int64_t>(1000 - 2 * kTimeMargin);
  for (const TimeMark& mark : row.marks) {
    const std::int64_t at =
        span == 0 ? 0
                  : static_cast<std::int64_t>(static_cast<double>(mark.seconds - from) /
                                              static_cast<double>(span) * static_cast<double>(room));
    places.push_back(kTimeMargin + std::clamp<std::int64_t>(at, 0, room));
    if (places.size() > 1) places.back() = std::max(places.back(), places[places.size() - 2] + kNearest);
  }
  std::int64_t limit = 1000 - kTimeMargin;
  for (std::size_t i = places.size(); i-- > 0;) {
    places[i] = std::max<std::int64_t>(0, std::min(places[i], limit));
    limit = places[i] - kNearest;
  }
  return places;
}

}  // namespace

Html time_picture(const TimePicture& picture) {
  std::int64_t from = 0, to = 0;
  bool first = true;
  for (const TimeRow& row : picture.rows) {
    for (const TimeMark& mark : row.marks) {
      from = first ? mark.seconds : std::min(from, mark.seconds);
      to = first ? mark.seconds : std::max(to, mark.seconds);
      first = false;
    }
  }
  Html rows;
  for (const TimeRow& row : picture.rows) {
    const std::vector<std::int64_t> places = spread(row, from, to - from);
    Html marks = element("line.base", {{"x1", "0"}, {"x2", "100%"}, {"y1", "11"}, {"y2", "11"}});
    std::string words;
    for (std::size_t i = 0; i < row.marks.size(); ++i) {
      marks += element("svg", {{"x", tenths(places[i])}, {"y", "11"}, {"overflow", "visible"}},
                       drawn(row.marks[i].sign));
      words += (i == 0 ? "" : ", ") + row.marks[i].words;
    }
    rows += element("li", element("p", row.name),
                    element("svg.lane",
                            {{"role", "img"},
                             {"aria-label", words.empty() ? "nothing noted" : words},
                             {"width", "100%"},
                             {"height", "22"}},
                            marks));
  }
  return element("div.times", element("ol", {{"aria-label", picture.caption}}, rows),
                 element("p.scale", {{"aria-hidden", "true"}}, element("span", picture.first),
                         element("span", picture.last)));
}

Html time_key(TimeSign sign, std::string_view word) {
  return element("span.key",
                 element("svg.swatch.lane",
                         {{"width", "22"}, {"height", "14"}, {"aria-hidden", "true"}, {"focusable", "false"}},
                         element("svg", {{"x", "11"}, {"y", "7"}, {"overflow", "visible"}}, drawn(sign))),
                 " ", word);
}

}  // namespace calseal
