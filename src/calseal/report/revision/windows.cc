#include "calseal/report/revision/windows.h"

#include <algorithm>

#include "calseal/report/html/memory_picture.h"

namespace calseal {
namespace {

constexpr std::uint64_t kLeastAround = 16;  // bytes of context on either side
constexpr std::uint64_t kLeastGap = 64;     // changes closer than this lie together

Range region_range(const RegionMap& map, const PlacedChange& change) {
  for (const Region& region : map.regions) {
    if (region.place.memory == change.memory && region.name == change.region &&
        region.place.range.contains(change.range))
      return region.place.range;
  }
  return map.memories[change.memory].extent;
}

// Whole rows of 16 bytes around the changes, inside the region; nearly all of it is all of it.
Range around(const Range& hull, const Range& region) {
  if (hull.size() >= region.size() / 2) return region;
  const std::uint64_t more = std::max(kLeastAround, hull.size() / 6);
  Range range{hull.begin - std::min(more, hull.begin - region.begin),
              hull.end + std::min(more, region.end - hull.end)};
  range.begin = std::max(region.begin, range.begin / 16 * 16);
  range.end = std::min(region.end, (range.end + 15) / 16 * 16);
  return range;
}

}  // namespace

std::vector<PlacedChange> placed_changes(const OpenedBundle& opened) {
  const std::vector<ManifestSpan>& spans = opened.manifest.controller().spans;
  std::vector<PlacedChange> changes;
  for (const Change& change : opened.changes) {
    const std::size_t memory = opened.map.memory_index(change.place.memory);
    if (memory == opened.map.memories.size() || change.place.range.empty() ||
        !opened.map.memories[memory].extent.contains(change.place.range))
      continue;
    changes.push_back({memory, change.place.range, SpanKind::kLocked, change.region, change.option, false});
  }
  std::ranges::stable_sort(
      changes, {}, [](const PlacedChange& change) { return std::pair(change.memory, change.range.begin); });
  std::size_t at = 0;
  for (PlacedChange& change : changes) {
    const auto before = [&](const ManifestSpan& span) {
      const std::size_t memory = opened.map.memory_index(span.place.memory);
      return std::pair(memory, span.place.range.end) <= std::pair(change.memory, change.range.begin);
    };
    while (at < spans.size() && before(spans[at])) ++at;
    if (at < spans.size()) change.kind = spans[at].kind;
  }
  return changes;
}

Windows windows_of(const RegionMap& map, const std::vector<PlacedChange>& changes) {
  struct Cluster {
    Window window;
    Range hull;
  };
  std::vector<Cluster> clusters;
  for (const PlacedChange& change : changes) {
    if (change.follows()) continue;
    if (!clusters.empty()) {
      Cluster& last = clusters.back();
      const std::uint64_t gap = std::max(kLeastGap, last.window.region_range.size() / 8);
      if (last.window.memory == change.memory && last.window.region == change.region &&
          last.window.region_range.contains(change.range) && change.range.begin <= last.hull.end + gap) {
        last.hull.end = std::max(last.hull.end, change.range.end);
        last.window.changes.push_back(change);
        last.window.bytes += change.range.size();
        continue;
      }
    }
    Window window;
    window.memory = change.memory;
    window.region = change.region;
    window.region_range = region_range(map, change);
    window.changes.push_back(change);
    window.bytes = change.range.size();
    clusters.push_back({std::move(window), change.range});
  }
  Windows windows;
  for (std::size_t i = 0; i < clusters.size(); ++i) {
    if (i == kMostWindows) {
      windows.left_out = clusters.size() - i;
      break;
    }
    Window& window = clusters[i].window;
    window.range = around(clusters[i].hull, window.region_range);
    window.letter = place_letter(i);
    windows.shown.push_back(std::move(window));
  }
  return windows;
}

}  // namespace calseal
