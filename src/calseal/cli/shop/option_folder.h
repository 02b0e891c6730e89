// The shop's folder of option files.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/option/option_file.h"

namespace calseal {

// Every *.json in it, by name; at most 4,096. The first that is no option file is the error.
Result<std::vector<OptionFile>> load_option_folder(const std::string& folder);

}  // namespace calseal
