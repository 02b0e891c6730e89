// Sets of a job: revisions of several controllers that are valid only together.
#pragma once

#include <optional>
#include <vector>

#include "calseal/job/vehicle_job.h"

namespace calseal {

// A set as the bundles of its members tell it. It points into the job.
struct JobSet {
  struct Member {
    const SetMember* named = nullptr;
    std::optional<SetPlace> here;  // nothing: its bundle is not in the job's folder
  };
  Sha256 identity;
  const SetDescriptor* text = nullptr;
  std::vector<Member> members;  // in the order of writing
  bool whole() const;
};
JobSet set_of(const VehicleJob& job, const JobRevision& member);  // `member` must be in one
std::vector<JobSet> sets_of(const VehicleJob& job);               // each once

}  // namespace calseal
