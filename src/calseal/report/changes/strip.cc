#include "calseal/report/changes/strip.h"

#include "calseal/map/segments.h"
#include "calseal/report/layout/strip.h"

namespace calseal {

std::string memory_strip(const Plan& plan, std::size_t memory, const Image* image, const Page& page,
                         const RangeSet& changed) {
  const MemoryDeclaration& declared = plan.map->memories[memory];
  StripView view;
  view.name = declared.name;
  view.extent = declared.extent;
  view.changed = changed;
  RangeSet present = segments_of(declared);
  view.absent = RangeSet(declared.extent);
  view.absent.remove(present);
  if (image != nullptr) {
    view.unknown = present;
    view.unknown.remove(image->memories[memory].known);
    present = present.intersect(image->memories[memory].known);
  }
  for (std::size_t i = 0; i < kStripKinds.size(); ++i)
    view.kinds[i] = plan.bytes_of(memory, kStripKinds[i]).intersect(present);
  return strip_text(view, page);
}

Plan declared_plan(const RegionMap& map) {
  Plan plan;
  plan.map = &map;
  for (std::size_t i = 0; i < map.checksums.size(); ++i) {
    PlanNode node;
    node.index = i;
    node.name = map.checksums[i].name;
    node.writes = map.checksums[i].written_places();
    plan.nodes.push_back(std::move(node));
  }
  for (std::size_t i = 0; i < map.copies.size(); ++i) {
    PlanNode node;
    node.is_copy = true;
    node.index = i;
    node.name = map.copies[i].name;
    node.writes.push_back(map.copies[i].to);
    plan.nodes.push_back(std::move(node));
  }
  plan.kinds = compute_kinds(plan);
  return plan;
}

}  // namespace calseal
