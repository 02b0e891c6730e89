// The shop file of a job that lies elsewhere than its shop.
#pragma once

#include <optional>
#include <string>

#include "calseal/base/result.h"
#include "calseal/sign/shop_file.h"

namespace calseal {

// What a new job's folder keeps of the shop file that was used: its path, and nothing where it is found from
// the folder upwards. kUsage for a path that cannot be kept.
Result<std::string> shop_to_keep(const std::string& folder, const std::string& used);

// The shop file that a job, named by its folder or a controller's, keeps; nothing where it keeps none, or
// cannot be read. kShopFileForeign also when others could have changed what the job says; kFileMissing when
// the file is gone.
Result<std::optional<Shop>> shop_of_job(const std::string& folder);

}  // namespace calseal
