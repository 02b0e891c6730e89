// Values of a scan tool against the identity fields of a revision.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/check/confirm.h"

namespace calseal {

// kUsage: too many values, a name that no identity field has, or one given twice.
Status check_scan_names(const OpenedBundle& opened, const std::vector<ScanValue>& scan);

// The above, then kSaltWrong, kScanMismatch. A value that the
// manifest says nothing about is not compared, and `compared` says why.
Status compare_scan(const OpenedBundle& opened, const std::vector<ScanValue>& scan,
                    const std::optional<Bytes>& salt, std::vector<ComparedValue>& compared);

}  // namespace calseal
