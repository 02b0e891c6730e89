// `calseal compare` of two bundles: what changed from one revision to another.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/cli/console/console.h"

namespace calseal {

struct CompareOptions {
  std::vector<std::string> files;  // two images or two bundles, the one before first
  std::string regions;
  std::vector<std::string> before, after, option_files;
  std::string trust, root, base_bundle;
  std::vector<std::string> reads;
  bool hex = false, all = false;
};

// `before` and `after` are the files' bytes.
Result<int> compare_bundles(const CompareOptions& options, Bytes before, Bytes after, const Console& console);

}  // namespace calseal
