// A job's history as a page.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/job/job.h"

namespace calseal {

struct JobView {
  const Job* job = nullptr;   // must outlive the view
  bool seals_judged = false;  // a trust file was given
  std::string tool;
};

// The whole file.
std::string job_html(const JobView& view);

// For --json: {"kind","job","findings","next"}.
JsonValue job_summary_json(const JobView& view);

}  // namespace calseal
