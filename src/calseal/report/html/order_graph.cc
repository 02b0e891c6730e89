#include "calseal/report/html/order_graph.h"

#include <algorithm>
#include <optional>
#include <string>

namespace calseal {
namespace {

// Pixels.
constexpr int kLaneGap = 9;      // between lines
constexpr int kDot = 16;         // of a step, from the top
constexpr int kInto = kDot - 4;  // a line enters a step above where its own leaves
constexpr int kOutOf = kDot + 4;

struct Lane {
  std::size_t from = 0, to = 0;   // steps
  std::vector<std::size_t> into;  // ascending
};

// By lane; lines that do not overlap share one.
std::vector<std::vector<Lane>> lanes_of(const std::vector<GraphStep>& steps) {
  std::vector<Lane> lines(steps.size());
  for (std::size_t i = 0; i < steps.size(); ++i) {
    for (const std::size_t need : steps[i].needs) {
      if (need < i) lines[need].into.push_back(i);
    }
  }
  std::vector<std::vector<Lane>> lanes;
  for (std::size_t i = 0; i < lines.size(); ++i) {
    if (lines[i].into.empty()) continue;
    lines[i].from = i;
    lines[i].to = lines[i].into.back();
    const auto free =
        std::ranges::find_if(lanes, [&](const std::vector<Lane>& lane) { return lane.back().to <= i; });
    if (free != lanes.end())
      free->push_back(std::move(lines[i]));
    else if (lanes.size() < kMostLanes)
      lanes.push_back({std::move(lines[i])});
  }
  return lanes;
}

Html lane_line(int x1, const std::string& y1, int x2, const std::string& y2) {
  return element("line", {{"x1", std::to_string(x1)}, {"y1", y1}, {"x2", std::to_string(x2)}, {"y2", y2}});
}

// What one line of the graph is in one row.
Html part_of(const Lane& lane, std::size_t step, int x, int dot) {
  if (step < lane.from || step > lane.to) return {};
  const std::string into = std::to_string(kInto), out_of = std::to_string(kOutOf);
  if (step == lane.from) return lane_line(dot, out_of, x, out_of) + lane_line(x, out_of, x, "100%");
  const bool enters = std::ranges::binary_search(lane.into, step);
  Html out = lane_line(x, "0", x, step == lane.to ? into : "100%");
  if (!enters) return out;
  const std::string tip = std::to_string(dot - 5);
  return out + lane_line(x, into, dot - 5, into) +
         element("path.tip", {{"d", "M" + tip + " " + std::to_string(kInto - 3) + "l5 3l-5 3Z"}});
}

}  // namespace

Html order_graph(const std::vector<GraphStep>& steps) {
  const std::vector<std::vector<Lane>> lanes = lanes_of(steps);
  const int dot = static_cast<int>(lanes.size()) * kLaneGap + 10;
  Html rows;
  for (std::size_t i = 0; i < steps.size(); ++i) {
    Html drawn;
    for (std::size_t lane = 0; lane < lanes.size(); ++lane) {
      for (const Lane& one : lanes[lane])
        drawn += part_of(one, i, dot - 10 - static_cast<int>(lane) * kLaneGap, dot);
    }
    drawn += element("circle", {{"cx", std::to_string(dot)}, {"cy", std::to_string(kDot)}, {"r", "5.5"}});
    const Html gutter = element("svg.gutter",
                                {{"width", std::to_string(dot + 8)},
                                 {"height", "100%"},
                                 {"aria-hidden", "true"},
                                 {"focusable", "false"}},
                                drawn);
    rows += element("li", element("div.gutter-box", gutter),
                    element("div.step", element("h3", steps[i].title), steps[i].text));
  }
  return element("ol.graph", rows);
}

}  // namespace calseal
