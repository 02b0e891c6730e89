// Edited files of a job, sorted: which controller each is an edit of.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/sign/next_revision.h"
#include "calseal/study/sort_reads.h"

namespace calseal {

struct ControllerFiles {
  std::string controller;
  std::vector<ReadFile> files;
};

// The files of each controller, in the job's order. A file without a named controller is its whose region map
// takes it and still recognises its base with the file laid over. Where only one controller is not closed,
// every file is its. kUsage for a controller that the job has not, and a file that fits several;
// kFamilyMismatch for one that fits none.
Result<std::vector<ControllerFiles>> sort_edits(const VehicleJob& job, const std::vector<LooseFile>& files,
                                                const Signing& signing);

}  // namespace calseal
