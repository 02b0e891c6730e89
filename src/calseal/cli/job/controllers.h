// Controllers that come into a job: their reads sorted, each with its region map and the options ordered.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/base/result.h"
#include "calseal/job/new_job.h"
#include "calseal/parcel/parcel.h"
#include "calseal/report/layout/page.h"

namespace calseal {

struct ControllerOptions {
  std::vector<std::string> reads;         // [[CONTROLLER.]MEMORY=]FILE
  const OpenedParcel* parcel = nullptr;   // its first reads come in too
  std::vector<std::string> regions;       // files and folders
  std::vector<std::string> option_files;  // each goes to the controller that it names
  bool as_received = false;
};
Result<std::vector<NewController>> load_controllers(const ControllerOptions& options);

// The way backs that were sealed, what goes to the customer, and the next steps.
std::string made_text(const VehicleJob& job, const MadeJob& made, const Page& page);
void add_made(JsonValue& value, const VehicleJob& job, const MadeJob& made);

}  // namespace calseal
