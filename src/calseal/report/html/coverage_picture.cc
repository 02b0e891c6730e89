#include "calseal/report/html/coverage_picture.h"

#include <algorithm>

#include "calseal/report/html/memory_picture.h"

namespace calseal {
namespace {

constexpr int kCoverTop = 10, kCoverEnd = 26;  // pixels from the top
constexpr double kLeastCovered = 3;            // thousandths: no range is drawn smaller
constexpr double kSlotGap = 14;                // thousandths

}  // namespace

Html coverage_picture(const CoveragePicture& picture) {
  const double scale = 1000 / static_cast<double>(std::max<std::uint64_t>(picture.extent.size(), 1));
  const auto at = [&](std::uint64_t address) {
    return static_cast<double>(address - picture.extent.begin) * scale;
  };
  const std::string band = std::to_string(kCoverTop), height = std::to_string(kCoverEnd - kCoverTop);
  Html drawn = element("rect.frame", {{"x", "0"}, {"y", band}, {"width", "100%"}, {"height", height}});
  double drawn_to = -1;
  for (const Range& range : picture.covered) {
    const double end = std::max(at(range.end), at(range.begin) + kLeastCovered);
    const double begin = std::max(at(range.begin), drawn_to);
    // What lies within a stroke that is drawn already adds nothing.
    if (end - begin < kLeastCovered && drawn_to >= 0 && begin == drawn_to) continue;
    drawn_to = end;
    drawn += element(
        "rect.covered",
        {{"x", share_text(begin)}, {"y", band}, {"width", share_text(end - begin)}, {"height", height}});
  }
  double last = -1000;
  for (const Range& slot : picture.slots) {
    const double middle = at(slot.begin) + static_cast<double>(slot.size()) * scale / 2;
    if (middle - last < kSlotGap) continue;
    last = middle;
    drawn += element("svg", {{"x", share_text(middle)}, {"y", "0"}, {"overflow", "visible"}},
                     element("path.pin", {{"d", "M-4.5 0 H4.5 L0 9 Z"}}),
                     element("path.slot", {{"d", "M0 9 V" + std::to_string(kCoverEnd)}}));
  }
  return element("svg.coverage",
                 {{"role", "img"},
                  {"aria-label", picture.spoken},
                  {"width", "100%"},
                  {"height", std::to_string(kCoverEnd + 1)}},
                 drawn);
}

}  // namespace calseal
