// Where the files of an image go.
#pragma once

#include <string>
#include <vector>

#include "calseal/map/read.h"

namespace calseal {

// The path for every file of the read: named outputs ("MEMORY=FILE") go to their memory, the others to what
// remains, in order. kUsage unless there is exactly one for each file.
Result<std::vector<std::string>> assign_outputs(const std::vector<ReadSource>& sources,
                                                const std::vector<std::string>& outputs);

}  // namespace calseal
