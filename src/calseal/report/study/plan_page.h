// What a write would touch, as a page: erase sectors over the memory, bytes and time.
#pragma once

#include <string>
#include <vector>

#include "calseal/report/study/study_report.h"

namespace calseal {

// Plain pointers: the caller keeps everything alive.
struct PlanView {
  const Plan* layout = nullptr;  // of the image now
  const Image* now = nullptr;
  const WritePlan* plan = nullptr;
  std::vector<RangeSet> changed;  // by memory
  PlanRates rates;
  std::string tool;
};
// The whole file.
std::string write_plan_html(const PlanView& view);

// For --json: {"kind":"plan","changed_bytes","sectors","mixed","without_sector","seconds"}.
JsonValue write_plan_summary_json(const PlanView& view);

}  // namespace calseal
