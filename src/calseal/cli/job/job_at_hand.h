// The job that a command works on: found from its folder or a controller's, locked, read.
#pragma once

#include <string>
#include <vector>

#include "calseal/cli/console/command_line.h"
#include "calseal/job/vehicle_job.h"
#include "calseal/study/sort_reads.h"

namespace calseal {

struct JobFolderOptions {
  std::string folder, controller;
};
// FOLDER and --controller.
void add_job_folder(CommandLine& command, JobFolderOptions& options);

struct JobAtHand {
  JobLock lock;
  VehicleJob job;
  std::string controller;  // that was named, by option or by folder; empty: none

  // The controller that is meant; see one_controller().
  Result<const Job*> one() const { return one_controller(job, controller); }
  // Reads the job again, as the command has left it.
  Result<VehicleJob> after(const JobContext& context) const { return read_vehicle_job(job.folder, context); }
};
Result<JobAtHand> take_job(const JobFolderOptions& options, const JobContext& context);

// The same for a look, without a lock.
struct JobLook {
  VehicleJob job;
  std::string controller;
};
Result<JobLook> look_at_job(const JobFolderOptions& options, const JobContext& context);

// "[[CONTROLLER.]MEMORY=]FILE" arguments with their bytes.
Result<std::vector<LooseFile>> load_loose_files(const std::vector<std::string>& arguments,
                                                const std::string& controller);

}  // namespace calseal
