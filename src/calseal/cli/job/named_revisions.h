// The revisions that `calseal job send` is told to follow, and to which a customer may return.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/job/send.h"

namespace calseal {

// "[CONTROLLER=]NUMBER" of --parent and "[CONTROLLER=]NUMBER|IDENTITY" of --permit-return go to the requests
// of these controllers. Without a name they are of the one controller of which something is sent, an identity
// of the one that has it. kUsage where several could be meant, and for what the controller has not.
Status name_revisions(const VehicleJob& job, const std::vector<std::string>& parents,
                      const std::vector<std::string>& returns, std::vector<SendRequest>& requests);

}  // namespace calseal
