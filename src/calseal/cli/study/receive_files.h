// The reads that `calseal receive` judges: loose files, or those of a parcel.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/cli/study/receive_reads.h"
#include "calseal/map/read.h"

namespace calseal {

// The first read, and all further ones of it.
struct LoadedReads {
  std::vector<std::vector<ReadFile>> reads;
  std::vector<std::string> names;
};

// kUsage for a parcel beside other files, and for one with reads of several controllers of which none is
// named.
Result<LoadedReads> load_received(const ReceiveOptions& options);

}  // namespace calseal
