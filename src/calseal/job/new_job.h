// A job folder comes to be, with every controller that came in; or one more controller comes to it.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/job/open_base.h"
#include "calseal/job/vehicle_job.h"

namespace calseal {

// The text that goes to the customer along with these way backs.
using WayBackMessage = std::function<std::string(const NewJob& job, const std::vector<OpenedBase>& opened)>;

struct MadeJob {
  std::vector<OpenedBase> opened;  // in the order of the request
  std::string handover;            // folder within the job's; empty: nothing was sealed
};

// Makes the folder with all controllers and, with `signing`, their way backs and the hand-over of them. Whole
// or not at all. The reasons of plan_controller(), and kUsage, kOutputExists, kWriteFailed.
Result<MadeJob> make_job(const NewJob& request, const std::optional<Signing>& signing,
                         const WayBackMessage& message);

// The same for one more controller of a job. kUsage when the job has it already. The caller holds the lock.
Result<MadeJob> add_controller(const VehicleJob& job, const NewController& controller,
                               const std::optional<Signing>& signing, const WayBackMessage& message);

}  // namespace calseal
