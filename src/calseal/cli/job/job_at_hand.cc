#include "calseal/cli/job/job_at_hand.h"

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/stated.h"

namespace calseal {
namespace {

Result<JobPlace> place_of(const JobFolderOptions& options) {
  CALSEAL_ASSIGN(JobPlace place, find_job(options.folder));
  if (options.controller.empty()) return place;
  if (!place.controller.empty() && place.controller != options.controller) {
    return fail(usage_error("--controller", options.controller + " beside the folder of " + place.controller,
                            "one of the two", "leave one out"));
  }
  place.controller = options.controller;
  return place;
}

}  // namespace

void add_job_folder(CommandLine& command, JobFolderOptions& options) {
  command.add_option("FOLDER", options.folder, "The job folder, or the folder of a controller in it")
      ->takes("FOLDER")
      ->required();
  command
      .add_option("--controller", options.controller,
                  "The controller that is meant, where the job has several")
      ->takes("NAME");
}

Result<JobAtHand> take_job(const JobFolderOptions& options, const JobContext& context) {
  CALSEAL_ASSIGN(JobPlace place, place_of(options));
  CALSEAL_ASSIGN(JobLock lock, JobLock::take(place.folder));
  CALSEAL_ASSIGN(VehicleJob job, take_up(place.folder, context));
  return JobAtHand{std::move(lock), std::move(job), std::move(place.controller)};
}

Result<JobLook> look_at_job(const JobFolderOptions& options, const JobContext& context) {
  CALSEAL_ASSIGN(JobPlace place, place_of(options));
  CALSEAL_ASSIGN(VehicleJob job, read_vehicle_job(place.folder, context));
  return JobLook{std::move(job), std::move(place.controller)};
}

Result<std::vector<LooseFile>> load_loose_files(const std::vector<std::string>& arguments,
                                                const std::string& controller) {
  std::vector<LooseFile> files;
  for (const std::string& argument : arguments) {
    NamedRead named = parse_named_read(argument);
    LooseFile loose{named.controller.empty() ? controller : named.controller, std::move(named.file)};
    CALSEAL_ASSIGN(loose.file.bytes, read_file(loose.file.name, kReadFileLimit));
    loose.file.name = printable(loose.file.name);
    files.push_back(std::move(loose));
  }
  return files;
}

}  // namespace calseal
