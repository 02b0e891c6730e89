#include "calseal/study/write_plan.h"

#include "calseal/change/compare.h"
#include "calseal/map/segments.h"

namespace calseal {

WritePlan make_write_plan(const Plan& plan, const Image& now, const Image& after) {
  const RegionMap& map = *plan.map;
  WritePlan out;
  std::vector<RangeSet> changed(map.memories.size());
  for (const ChangedRange& change : compare_images(plan, now, after)) {
    changed[change.place.memory].add(change.place.range);
    out.changed_bytes += change.place.range.size();
  }
  std::vector<RangeSet> left = changed;
  std::vector<RangeSet> learned(map.memories.size());
  for (std::size_t m = 0; m < map.memories.size(); ++m) learned[m] = plan.bytes_of(m, SpanKind::kVolatile);
  for (const Place& sector : map.sectors) {
    const std::uint64_t bytes = changed[sector.memory].within(sector.range).size();
    if (bytes == 0) continue;
    out.touched.push_back({sector, bytes, learned[sector.memory].within(sector.range).size()});
    out.calibration_bytes += sector.range.size();
    left[sector.memory].remove(sector.range);
  }
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    for (const Range& range : left[m].ranges()) {
      out.without_sector.push_back({m, range});
      out.calibration_bytes += range.size();
    }
    out.full_bytes += segment_total(map.memories[m]);
  }
  return out;
}

std::uint64_t transfer_seconds(std::uint64_t bytes, std::uint64_t rate) { return (bytes + rate - 1) / rate; }

}  // namespace calseal
