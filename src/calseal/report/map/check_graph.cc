#include "calseal/report/map/check_graph.h"

#include <algorithm>

#include "calseal/base/text.h"
#include "calseal/report/html/coverage_picture.h"
#include "calseal/report/html/order_graph.h"
#include "calseal/report/html/parts.h"
#include "calseal/report/layout/page.h"

namespace calseal {
namespace {

constexpr std::size_t kMostNames = 8;

// The first few, then how many more.
std::string list_of(const std::vector<std::string>& names) {
  std::string text;
  for (std::size_t i = 0; i < names.size() && i < kMostNames; ++i) text += (i == 0 ? "" : ", ") + names[i];
  if (names.size() > kMostNames) text += " and " + grouped(names.size() - kMostNames) + " more";
  return text;
}

class CheckGraph {
 public:
  CheckGraph(const Plan& plan, const std::vector<CheckOutcome>* checks)
      : plan_(plan), map_(*plan.map), checks_(checks), rows_(plan.nodes.size(), plan.nodes.size()) {
    for (std::size_t group = 0; group < plan.order.size(); ++group) {
      for (const std::size_t node : plan.order[group].nodes) {
        rows_[node] = order_.size();
        order_.push_back({node, group});
      }
    }
  }

  Html html() const {
    std::vector<GraphStep> steps;
    for (std::size_t i = 0; i < order_.size() && i < kMostChecksDrawn; ++i) steps.push_back(step(i));
    Html out = order_graph(steps);
    if (order_.size() > kMostChecksDrawn)
      out += element("p.quiet", "and " + grouped(order_.size() - kMostChecksDrawn) +
                                    " more, which are not drawn; calseal regions show lists them");
    return out;
  }

 private:
  struct Row {
    std::size_t node, group;
  };

  GraphStep step(std::size_t row) const {
    const PlanNode& node = plan_.nodes[order_[row].node];
    GraphStep step;
    step.title = said(node.name) + state(order_[row].node);
    for (const std::size_t need : plan_.edges[order_[row].node]) {
      if (rows_[need] < row) step.needs.push_back(rows_[need]);
    }
    step.text = element("p.quiet", facts(order_[row])) + pictures(node);
    return step;
  }

  Html state(std::size_t node) const {
    if (checks_ == nullptr) return {};
    const auto check = std::ranges::find(*checks_, node, &CheckOutcome::node);
    return check == checks_->end() ? Html() : " " + check_state(check->state);
  }

  Html facts(const Row& row) const {
    const PlanNode& node = plan_.nodes[row.node];
    const std::string what = node.is_copy ? "copy" : printable(map_.checksums[node.index].algorithm.name);
    Html out = "step " + std::to_string(row.group + 1) + ", " + what;
    if (node.floating) out += ", floating: its right value belongs to the vehicle";
    std::uint64_t bytes = 0;
    for (const RangeSet& set : node.reads) bytes += set.size();
    out += element("br") + "reads " + size_words(bytes) + " of " + said(region_words(map_, node.reads));
    if (node.writes.empty())
      out += Html("; keeps its value nowhere");
    else
      out += "; its value: " + code(place_text(map_, node.writes.front()));
    if (node.writes.size() > 1)
      out += Html(" and " + counted(node.writes.size() - 1, "more place", "more places"));
    out += waits(row);
    // Of a drafted map: how it was found, and how likely chance would look so.
    if (!node.is_copy && !map_.checksums[node.index].note->empty())
      out += element("br") + said(*map_.checksums[node.index].note);
    return out;
  }

  // What must be right before it, in words: the lines say the same.
  Html waits(const Row& row) const {
    std::vector<std::string> first, together;
    for (const std::size_t need : plan_.edges[row.node]) {
      const bool circle = plan_.order[row.group].nodes.size() > 1 &&
                          std::ranges::binary_search(plan_.order[row.group].nodes, need);
      (circle ? together : first).push_back(plan_.nodes[need].name);
    }
    Html out;
    if (!first.empty()) out += element("br") + "after " + said(list_of(first));
    if (!together.empty()) out += element("br") + "solved together with " + said(list_of(together));
    return out;
  }

  Html pictures(const PlanNode& node) const {
    Html out;
    for (std::size_t m = 0; m < map_.memories.size(); ++m) {
      CoveragePicture picture;
      picture.extent = map_.memories[m].extent;
      for (const Range& range : node.reads[m].ranges()) picture.covered.push_back(range);
      for (const Place& place : node.writes) {
        if (place.memory == m) picture.slots.push_back(place.range);
      }
      if (picture.covered.empty() && picture.slots.empty()) continue;
      std::ranges::sort(picture.slots, {}, &Range::begin);
      picture.spoken = node.name + " in " + map_.memories[m].name + ": reads " +
                       size_words(node.reads[m].size()) + ", " +
                       counted(picture.slots.size(), "place", "places") + " of its value";
      out += coverage_picture(picture) + element("p.quiet.small", said(map_.memories[m].name));
    }
    return out;
  }

  const Plan& plan_;
  const RegionMap& map_;
  const std::vector<CheckOutcome>* checks_;
  std::vector<Row> order_;
  std::vector<std::size_t> rows_;  // by node
};

}  // namespace

std::string region_words(const RegionMap& map, const std::vector<RangeSet>& bytes) {
  std::vector<std::string> names;
  std::vector<RangeSet> rest = bytes;
  std::vector<RangeSet> declared(map.memories.size());
  for (const Region& region : map.regions) {
    declared[region.place.memory].add(region.place.range);
    if (bytes[region.place.memory].overlaps(region.place.range)) names.push_back(region.name);
  }
  for (std::size_t m = 0; m < rest.size(); ++m) rest[m].remove(declared[m]);
  if (!std::ranges::all_of(rest, &RangeSet::empty)) names.push_back("bytes without a region");
  return names.empty() ? "no memory" : list_of(names);
}

Html check_graph(const Plan& plan, const std::vector<CheckOutcome>* checks) {
  return CheckGraph(plan, checks).html();
}

}  // namespace calseal
