// The page about a read that came in.
#pragma once

#include "calseal/cli/report/report_subject.h"

namespace calseal {

// SUBJECT's files as `calseal receive` judges them.
Result<MadeReport> report_read(const ReportOptions& options);

}  // namespace calseal
