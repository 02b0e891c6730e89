// The page of `calseal report`, about whichever subject it is given.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/cli/check/check_evidence.h"

namespace calseal {

struct ReportOptions : CheckEvidence {
  std::vector<std::string> subjects;  // as given; `bundle` is the first
  std::string output, tool, since, known;
  std::vector<std::string> beside, regions, before, after, now;
};

struct MadeReport {
  std::string html;
  JsonValue summary;
  std::string words;  // what it says on top
  int status = 0;
};

enum class ReportSubject : std::uint8_t { kRevision, kJob, kAudit, kComparison, kRead, kRegionMap, kPlan };
// What is asked for, by the options and by how the file begins.
ReportSubject subject_of(const ReportOptions& options);

Result<MadeReport> make_report(ReportSubject subject, ReportOptions& options);

}  // namespace calseal
