#include "calseal/report/changes/plan_report.h"

#include <algorithm>

#include "calseal/base/json_write.h"

namespace calseal {
namespace {

constexpr std::size_t kMostNames = 16;

struct Written {
  Place place;
  std::size_t node;
};

std::vector<Written> written_places(const Plan& plan) {
  std::vector<Written> written;
  for (std::size_t i = 0; i < plan.nodes.size(); ++i) {
    for (const Place& place : plan.nodes[i].writes) written.push_back({place, i});
  }
  std::sort(written.begin(), written.end(),
            [](const Written& a, const Written& b) { return a.place < b.place; });
  return written;
}

// Names of the nodes whose places `node` reads; places are disjoint, so a sorted walk finds them.
std::vector<std::string> names_read(const Plan& plan, std::size_t node, const std::vector<Written>& written) {
  std::vector<std::size_t> found;
  for (std::size_t m = 0; m < plan.nodes[node].reads.size(); ++m) {
    for (const Range& range : plan.nodes[node].reads[m].ranges()) {
      auto it = std::upper_bound(
          written.begin(), written.end(), std::pair(m, range.begin),
          [](const auto& at, const Written& w) { return at < std::pair(w.place.memory, w.place.range.end); });
      for (; it != written.end() && it->place.memory == m && it->place.range.begin < range.end &&
             found.size() <= kMostNames;
           ++it) {
        if (std::ranges::find(found, it->node) == found.end()) found.push_back(it->node);
      }
    }
  }
  std::ranges::sort(found);
  std::vector<std::string> names;
  for (const std::size_t index : found) {
    if (index != node && names.size() < kMostNames) names.push_back(plan.nodes[index].name);
  }
  return names;
}

}  // namespace

std::vector<PlanEntry> plan_entries(const Plan& plan) {
  const std::vector<Written> written = written_places(plan);
  std::vector<PlanEntry> entries;
  for (std::size_t i = 0; i < plan.order.size(); ++i) {
    for (const std::size_t node : plan.order[i].nodes) {
      entries.push_back({node, i + 1, plan.order[i].joint, names_read(plan, node, written)});
    }
  }
  return entries;
}

std::string plan_text(const Plan& plan, const Page& page) {
  Columns columns;
  columns.add({{"order", Mark::kDim, true}, {"checksum", Mark::kDim}, {"", Mark::kDim}});
  for (const PlanEntry& entry : plan_entries(plan)) {
    const PlanNode& node = plan.nodes[entry.node];
    std::string words = node.is_copy ? "copy" : "";
    const auto add = [&](const std::string& word) { words += (words.empty() ? "" : "; ") + word; };
    if (node.floating)
      add(node.learns ? "floating: depends on volatile bytes" : "floating: depends on a binding field");
    if (entry.joint) add("joint: solved together with all of this order");
    std::string names;
    for (const std::string& name : entry.reads_results_of) names += (names.empty() ? "" : ", ") + name;
    if (entry.reads_results_of.size() == kMostNames) names += " and possibly more";
    if (!names.empty()) add("nested: covers " + names);
    columns.add({{std::to_string(entry.order), Mark::kPlain, true}, {node.name}, {words}});
  }
  return plan.nodes.empty() ? "" : columns.text(page, 2);
}

JsonValue plan_json(const Plan& plan) {
  return json_array(plan_entries(plan), [&](const PlanEntry& entry) {
    const PlanNode& node = plan.nodes[entry.node];
    return json_object({{"name", json(node.name)},
                        {"copy", json(node.is_copy)},
                        {"order", json(entry.order)},
                        {"joint", json(entry.joint)},
                        {"floating", json(node.floating)},
                        {"covers", json_strings(entry.reads_results_of)}});
  });
}

}  // namespace calseal
