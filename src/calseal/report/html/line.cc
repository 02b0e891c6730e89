#include "calseal/report/html/line.h"

namespace calseal {
namespace {

Html shape_of(LineStop::Kind kind) {
  switch (kind) {
    case LineStop::Kind::kOrigin:
      return element("rect.full", {{"x", "4"}, {"y", "4"}, {"width", "12"}, {"height", "12"}});
    case LineStop::Kind::kOther:
      return element("circle.full", {{"cx", "10"}, {"cy", "10"}, {"r", "6"}});
    case LineStop::Kind::kThis:
      return element("circle.ring", {{"cx", "10"}, {"cy", "10"}, {"r", "8.5"}}) +
             element("circle.full", {{"cx", "10"}, {"cy", "10"}, {"r", "4.5"}});
    case LineStop::Kind::kMissing:
      return element("circle.broken", {{"cx", "10"}, {"cy", "10"}, {"r", "6"}});
    case LineStop::Kind::kWithdrawn:
      return element("circle.ring", {{"cx", "10"}, {"cy", "10"}, {"r", "8"}}) +
             element("path.cross", {{"d", "M6.5 6.5 L13.5 13.5 M13.5 6.5 L6.5 13.5"}});
  }
  return {};
}

}  // namespace

Html line_of_stops(const std::vector<LineStop>& stops) {
  Html out;
  for (const LineStop& stop : stops) {
    const Html shape = element(
        "svg.stop", {{"width", "20"}, {"height", "20"}, {"aria-hidden", "true"}, {"focusable", "false"}},
        shape_of(stop.kind));
    const Html title = element("p.stop-title", element("strong", stop.title),
                               stop.note.empty() ? Html() : " " + element("span.note", stop.note));
    out += element("li", shape, element("div", title, stop.text));
  }
  return element("ol.line", out);
}

}  // namespace calseal
