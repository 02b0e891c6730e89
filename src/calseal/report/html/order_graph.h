// Steps one below the other, with lines from each to the later ones that need it.
#pragma once

#include <cstddef>
#include <vector>

#include "calseal/report/html/markup.h"

namespace calseal {

struct GraphStep {
  Html title;
  Html text;                       // more about it; it must name what the step needs
  std::vector<std::size_t> needs;  // indexes of steps
};

inline constexpr std::size_t kMostLanes = 8;  // lines side by side; further ones are told by the text alone

// A line leaves a step, runs down beside the others and enters every later step that needs it. Each row draws
// its own part, so that the graph breaks over printed pages.
Html order_graph(const std::vector<GraphStep>& steps);

}  // namespace calseal
