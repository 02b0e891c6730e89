#include "calseal/sign/set_make.h"

#include <algorithm>

#include "calseal/base/text.h"

namespace calseal {

Result<SetDescriptor> make_set(const std::vector<Manifest>& members, std::vector<std::string> write_order,
                               bool drivable_between) {
  const auto usage = [](std::string place, std::string found, std::string expected) {
    return fail({Reason::kUsage, "", std::move(place), std::move(found), std::move(expected),
                 "give one bundle of each controller that belongs to the set"});
  };
  if (members.size() < 2 || members.size() > kSetMemberLimit) {
    return usage("members", std::to_string(members.size()) + " bundles",
                 "from 2 to " + std::to_string(kSetMemberLimit));
  }
  SetDescriptor set;
  set.job = members.front().job;
  set.drivable_between = drivable_between;
  std::vector<std::string> given;
  for (const Manifest& manifest : members) {
    const ManifestController& controller = manifest.controller();
    if (manifest.job != set.job || manifest.salt_digest != members.front().salt_digest ||
        manifest.vehicle_reference != members.front().vehicle_reference) {
      return fail(
          {Reason::kSetMismatch, "", "job",
           "job " + manifest.job + ", vehicle \"" + printable(manifest.vehicle_reference) + "\"",
           "job " + set.job + ", vehicle \"" + printable(members.front().vehicle_reference) +
               "\", the same salt",
           "a set is of one vehicle: seal its members with the same job, salt and vehicle reference"});
    }
    if (set.find(controller.name) != nullptr)
      return usage("members", controller.name + " twice", "each once");
    set.members.push_back({controller.name, manifest.base_number, manifest.sequence, controller.map_digest,
                           controller.pinned_after});
    given.push_back(controller.name);
  }
  std::ranges::sort(set.members, {}, &SetMember::controller);
  set.write_order = write_order.empty() ? given : std::move(write_order);
  std::vector<std::string> sorted = set.write_order;
  std::ranges::sort(sorted);
  if (!std::ranges::equal(sorted, set.members, {}, {}, &SetMember::controller)) {
    std::string names;
    for (const std::string& name : set.write_order) names += (names.empty() ? "" : ", ") + printable(name);
    return usage("order", names, "each member's controller once");
  }
  return set;
}

}  // namespace calseal
