// `calseal receive` from its options to what it says.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/cli/console/console.h"
#include "calseal/cli/shop/parcel_opening.h"

namespace calseal {

struct ReceiveOptions {
  std::vector<std::string> reads, again, outputs, regions;
  std::string known, controller, trust;
  std::vector<std::string> successions;
  ParcelOpening opening;
};

// Exit status.
Result<int> receive_as_told(const ReceiveOptions& options, const Console& console);

}  // namespace calseal
