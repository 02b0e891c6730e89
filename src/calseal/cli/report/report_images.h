// The page about an edit that nobody has sealed yet.
#pragma once

#include "calseal/cli/report/report_subject.h"

namespace calseal {

// --after against --before, or against the base of a job or of a revision 0.
Result<MadeReport> report_comparison(const ReportOptions& options);

// Every file that such options name.
std::vector<std::string> image_paths(const ReportOptions& options);

}  // namespace calseal
