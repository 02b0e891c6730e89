// The page about an audit.
#pragma once

#include "calseal/cli/report/report_subject.h"

namespace calseal {

// The record that SUBJECT is, with --since against an earlier one.
Result<MadeReport> report_audit(const ReportOptions& options);

}  // namespace calseal
