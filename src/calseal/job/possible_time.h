// Times that a person or a clock states.
#pragma once

#include <string>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"

namespace calseal {

// kJobOrder when `stated` is before `earliest` (a time; `whose` says what it is the time of), or more than a
// day ahead of this computer's clock.
Status require_possible_time(const std::string& folder, UtcTime stated, const std::string& earliest,
                             const std::string& whose);

}  // namespace calseal
