// `calseal seal` from its options to the bundle; nothing is written yet.
#pragma once

#include <optional>
#include <string>

#include "calseal/base/result.h"
#include "calseal/cli/console/console.h"
#include "calseal/cli/shop/seal_options.h"
#include "calseal/sign/seal.h"

namespace calseal {

struct Sealed {
  SealedBundle bundle;
  std::optional<Bytes> salt;  // a new one is to be written with the bundle
};
Result<Sealed> seal_as_told(const SealOptions& options, const std::string& tool, const Console& console);

}  // namespace calseal
