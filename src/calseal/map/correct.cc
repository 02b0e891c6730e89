#include "calseal/map/correct.h"

#include <utility>

#include "calseal/map/correct_group.h"
#include "calseal/map/verify.h"

namespace calseal {

Result<CorrectionReport> correct(const Plan& plan, Image& image, CorrectionScope scope) {
  CorrectionReport report;
  for (const PlanGroup& group : plan.order) {
    if (scope == CorrectionScope::kFloating && !plan.nodes[group.nodes.front()].floating) continue;
    bool holds = true;
    bool provable = true;
    for (const std::size_t index : group.nodes) {
      const CheckState state = verify_check(plan, index, image).state;
      holds = holds && state == CheckState::kHolds;
      if (state == CheckState::kNotProvable) {
        provable = false;
        report.not_provable.push_back(plan.nodes[index].name);
      }
    }
    if (holds || !provable) continue;
    std::vector<Correction> places;
    for (const std::size_t index : group.nodes) {
      for (const Place& place : plan.nodes[index].writes) {
        places.push_back({plan.nodes[index].name, place, take_bytes(image, place), {}});
      }
    }
    if (Status status = correct_group(plan, group, image); !status) {
      for (const Correction& place : places) put_bytes(image, place.place, place.before);
      return fail(std::move(status).error());
    }
    for (Correction& place : places) {
      place.after = take_bytes(image, place.place);
      if (place.after != place.before) report.corrections.push_back(std::move(place));
    }
  }
  return report;
}

}  // namespace calseal
