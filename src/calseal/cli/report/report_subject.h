// The page of `calseal report`, about whichever subject it is given.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/cli/check/check_evidence.h"

namespace calseal {

struct ReportOptions : CheckEvidence {
  std::string output, tool, since;
  std::vector<std::string> beside;
};

struct MadeReport {
  std::string html;
  JsonValue summary;
  std::string words;  // what it says on top
  int status = 0;
};

enum class ReportSubject : std::uint8_t { kRevision, kJob, kAudit };
ReportSubject subject_of(const std::string& path);

Result<MadeReport> make_report(ReportSubject subject, ReportOptions& options);

}  // namespace calseal
