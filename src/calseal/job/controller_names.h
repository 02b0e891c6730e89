// Which folders of a job's folder are controllers'.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"

namespace calseal {

// Names of the folders with a job.json in them, ascending; vehicle.json need not be there. kFileUnreadable
// for what cannot be looked at: a controller that is not seen would be left out of its set.
Result<std::vector<std::string>> controller_names(const std::string& folder);

}  // namespace calseal
