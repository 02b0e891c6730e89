// Where a revision changed something, cut into places that can be looked at one by one.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/check/open.h"

namespace calseal {

// A change whose memory and range exist, with what decides over it.
struct PlacedChange {
  std::size_t memory = 0;
  Range range;
  SpanKind kind = SpanKind::kLocked;
  std::string region, option;  // names, or empty
  bool refused = false;        // a revision may not change it

  // It changed because something else did.
  bool follows() const { return kind == SpanKind::kDerived || kind == SpanKind::kFloating; }
};
// Ascending by memory and address. What changes.json says about places that do not exist is left out.
std::vector<PlacedChange> placed_changes(const OpenedBundle& opened);

// Changes of one region that lie together, and the stretch of memory around them. Derived changes are in
// none: they follow from these.
struct Window {
  std::size_t memory = 0;
  Range range;         // what to show: the changes and some of what is around them, inside the region
  Range region_range;  // of the region; of the memory where there is none
  std::string region;
  std::vector<PlacedChange> changes;
  std::string letter;  // "A" to "Z", then "A2" ...
  std::uint64_t bytes = 0;
};
inline constexpr std::size_t kMostWindows = 52;

struct Windows {
  std::vector<Window> shown;
  std::size_t left_out = 0;  // further ones, which the table by region still counts
};
Windows windows_of(const RegionMap& map, const std::vector<PlacedChange>& changes);

}  // namespace calseal
