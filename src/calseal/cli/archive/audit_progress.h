// Says on a terminal how far an audit is, how fast, and how long it may still take.
#pragma once

#include <functional>

#include "calseal/archive/audit.h"
#include "calseal/cli/console/progress.h"

namespace calseal {

// Into the line, which must outlive the audit.
std::function<void(const AuditProgress&)> audit_progress(Progress& line);

// "12,000 of 16,004 files, 3.4 of 5.6 GB, 1.2 GB/s, 2 s left"
std::string progress_text(const AuditProgress& progress, double seconds);

}  // namespace calseal
