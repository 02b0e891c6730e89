// The entries that `calseal ledger append` makes of bundles and of what it is told.
#pragma once

#include <string>
#include <vector>

#include "calseal/ledger/append.h"

namespace calseal {

struct AppendOptions {
  std::string folder, kind, trust, words, time, receipt, fingerprint, code, salt;
  std::vector<std::string> bundles;
};

Result<std::vector<NewEntry>> make_entries(const AppendOptions& options);

}  // namespace calseal
