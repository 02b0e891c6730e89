// The page about what a write would touch.
#pragma once

#include "calseal/cli/report/report_subject.h"

namespace calseal {

// --now against --after.
Result<MadeReport> report_plan(const ReportOptions& options);

}  // namespace calseal
