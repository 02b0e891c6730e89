// A job's history as a page: of one controller, or of the whole vehicle.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/job/job_set.h"
#include "calseal/report/html/markup.h"

namespace calseal {

struct JobView {
  const Job* job = nullptr;  // must outlive the view
  const VehicleJob* vehicle =
      nullptr;                // that it belongs to, where its folder is there: it names set partners
  bool seals_judged = false;  // a trust file was given
  std::string tool;
};

// The whole file.
std::string job_html(const JobView& view);
// A part of the page of its vehicle: next step, findings, and its story, under headings with its name.
Html controller_html(const JobView& view);

// For --json: {"kind","job","findings","next"}.
JsonValue job_summary_json(const JobView& view);

// "to be written: transmission, then engine; the vehicle must not be driven in between"
std::string write_order_words(const SetDescriptor& set);

struct VehicleView {
  const VehicleJob* vehicle = nullptr;  // must outlive the view
  bool seals_judged = false;
  std::string tool;
};
std::string vehicle_html(const VehicleView& view);
std::size_t count_findings(const VehicleJob& vehicle);  // of its folder and of every controller
JsonValue vehicle_summary_json(
    const VehicleView& view);  // {"kind","job","controllers","sets","findings","next"}

}  // namespace calseal
