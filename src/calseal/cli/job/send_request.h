// From the options of `calseal job send` to one request for each controller.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/send_options.h"
#include "calseal/job/send.h"

namespace calseal {

struct SendPlan {
  std::vector<SendRequest> requests;  // one for each controller
  std::optional<SetWish> set;
};
// Files go to the controllers that they are edits of, options to those that they name. Several controllers
// become a set, unless --set leave says that they stay apart. A member of a set that is sent alone takes its
// partners along with --set renew, or leaves the set with --set leave; kUsage without either.
Result<SendPlan> plan_send(const SendOptions& options, const JobAtHand& at_hand, const Signing& signing);

}  // namespace calseal
