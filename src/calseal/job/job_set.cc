#include "calseal/job/job_set.h"

#include <algorithm>

namespace calseal {

bool JobSet::whole() const {
  return std::ranges::all_of(members, [](const Member& member) { return member.here.has_value(); });
}

JobSet set_of(const VehicleJob& job, const JobRevision& member) {
  JobSet set{*member.manifest.set, &*member.set, {}};
  const std::vector<SetPlace> places = set_members(job, member);
  for (const std::string& controller : member.set->write_order) {
    const auto at = std::ranges::find(places, controller,
                                      [](const SetPlace& place) { return place.owner->facts.controller; });
    set.members.push_back(
        {member.set->find(controller), at == places.end() ? std::nullopt : std::optional<SetPlace>(*at)});
  }
  return set;
}

std::vector<JobSet> sets_of(const VehicleJob& job) {
  std::vector<JobSet> sets;
  for (const Job& owner : job.controllers) {
    for (const JobBase& base : owner.bases) {
      for (const JobRevision& one : base.revisions) {
        if (one.set && std::ranges::find(sets, *one.manifest.set, &JobSet::identity) == sets.end())
          sets.push_back(set_of(job, one));
      }
    }
  }
  return sets;
}

}  // namespace calseal
