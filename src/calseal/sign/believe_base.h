// What sealing and opening a job ask of a read before anything is built on it.
#pragma once

#include "calseal/base/result.h"
#include "calseal/change/confine.h"

namespace calseal {

// believe_map(), and for a read that is at fault itself what can be done with it. `checks`: verify_checks()
// of `base`.
Status believe_base(const Plan& plan, const Image& base, const std::vector<CheckOutcome>& checks);

}  // namespace calseal
