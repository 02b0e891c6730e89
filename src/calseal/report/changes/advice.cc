#include "calseal/report/changes/advice.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {
namespace {

std::vector<RangeSet> covered_bytes(const Plan& plan) {
  std::vector<RangeSet> covered(plan.map->memories.size());
  for (const PlanNode& node : plan.nodes) {
    if (node.is_copy) continue;
    for (std::size_t m = 0; m < node.reads.size(); ++m) covered[m].add(node.reads[m]);
    // A slot or balance is looked after, although a rule's own balance does not count as read.
    for (const Place& place : node.writes) covered[place.memory].add(place.range);
  }
  return covered;
}

// Runs of a repeated region would say the same many times: the first few stand for all.
constexpr std::size_t kMostRegions = 8;

void advise_coverage(const Plan& plan, std::vector<Advice>& advice) {
  const std::vector<RangeSet> covered = covered_bytes(plan);
  std::string names;
  std::size_t count = 0;
  for (const Region& region : plan.map->regions) {
    if (region.policy != Policy::kEditable) continue;
    const std::uint64_t size = region.place.range.size();
    RangeSet open(region.place.range);
    open.remove(covered[region.place.memory].within(region.place.range));
    if (open.empty()) continue;
    if (++count > kMostRegions) continue;
    names += (names.empty() ? "" : ", ") + region.name + " (" +
             (open.size() == size ? "whole" : grouped(open.size()) + " of " + grouped(size) + " bytes") + ")";
  }
  if (count == 0) return;
  if (count > kMostRegions) names += " and " + grouped(count - kMostRegions) + " more";
  advice.push_back({"editable-unchecked",
                    "editable bytes under no checksum: " + names + "; is a checksum missing from the map?"});
}

}  // namespace

std::vector<Advice> advise(const RegionMap& map, const Plan* plan) {
  std::vector<Advice> advice;
  if (map.recognition.all.empty() && map.recognition.software_numbers.empty()) {
    advice.push_back(
        {"no-recognise-rule", "no recognise rule: an image of another software family is not told apart"});
  }
  if (std::ranges::none_of(map.identity, [](const IdentityField& field) { return field.binds; })) {
    advice.push_back(
        {"no-binding-field", "no binding identity field: nothing in the image will prove the vehicle"});
  }
  if (map.sectors.empty()) {
    advice.push_back(
        {"no-erase-sectors",
         "no erase sectors: whether writing touches volatile bytes is judged by exact bytes alone"});
  }
  if (plan != nullptr) advise_coverage(*plan, advice);
  if (!map.evidence.guesses.empty()) {
    std::string text = grouped(map.evidence.guesses.size()) +
                       (map.evidence.guesses.size() == 1 ? " guess remains: " : " guesses remain: ");
    for (std::size_t i = 0; i < map.evidence.guesses.size(); ++i)
      text += (i == 0 ? "" : "; ") + printable(map.evidence.guesses[i]);
    advice.push_back({"guesses-remain", text});
  }
  if (!map.evidence.verified)
    advice.push_back({"grade-draft", "grade draft: every proof made with this map will say so"});
  return advice;
}

}  // namespace calseal
