// The read that several reads vote for, as files.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/map/read.h"
#include "calseal/study/vote.h"

namespace calseal {

// Writes it in the form of one of them, a file for each output; nothing without outputs. kChecksumFails where
// the vote is undecided or its checks fail, kUsage where there are more or fewer files.
Status write_voted(const std::vector<std::string>& outputs, const RegionMap& map, const Read& form,
                   const Vote& vote);

}  // namespace calseal
