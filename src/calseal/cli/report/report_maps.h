// The page about one region map, or about two.
#pragma once

#include "calseal/cli/report/report_subject.h"

namespace calseal {

// Whether the file begins as JSON does; no other subject but an audit's record is.
bool begins_as_region_map(ByteView beginning);

// SUBJECT, with --read on an image, or with --since against an earlier map.
Result<MadeReport> report_map(const ReportOptions& options);

}  // namespace calseal
