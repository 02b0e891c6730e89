// A region map as a page: the memories to scale, and its checks as a graph in the order of correction. Two of
// them side by side.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/map/map_diff.h"
#include "calseal/map/verify.h"

namespace calseal {

// Plain pointers: the caller keeps everything alive.
struct MapView {
  const RegionMap* map = nullptr;
  const Plan* plan = nullptr;  // nothing: tables say what is covered, and no image is there
  const std::vector<CheckOutcome>* checks = nullptr;  // of an image; nothing: none was given
  std::string tool;
};
std::string map_html(const MapView& view);
// For --json: {"kind":"region-map","regions","checks","failing","uncovered_bytes"}; without an image
// "failing" is left out, and without a plan the last.
JsonValue map_summary_json(const MapView& view);

struct MapDiffView {
  const RegionMap *before = nullptr, *after = nullptr;
  const MapDiff* diff = nullptr;
  std::string tool;
};
std::string map_diff_html(const MapDiffView& view);
// For --json: {"kind":"region-maps","widens","policies","declarations"}; the last two are counts.
JsonValue map_diff_summary_json(const MapDiffView& view);

}  // namespace calseal
