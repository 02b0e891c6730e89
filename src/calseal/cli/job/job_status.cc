#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct LookOptions : JobFolderOptions {
  std::string trust, withdrawals;
};

void add_look_options(CommandLine& command, LookOptions& options) {
  add_job_folder(command, options);
  command.add_option("--trust", options.trust, "The shop's trust file: judges every seal")->takes("FILE");
  command.add_option("--withdrawals", options.withdrawals, "The shop's newest list of withdrawals")
      ->takes("FILE");
}

// The job, or of it the one controller that was named.
Result<VehicleJob> look(const LookOptions& options, const JobContext& context) {
  CALSEAL_ASSIGN(JobLook looked, look_at_job(options, context));
  if (looked.controller.empty()) return std::move(looked.job);
  CALSEAL_CHECK(one_controller(looked.job, looked.controller));
  std::erase_if(looked.job.controllers,
                [&](const Job& one) { return one.facts.controller != looked.controller; });
  return std::move(looked.job);
}

Result<int> run_status(const LookOptions& options, const Console& console) {
  const Progress progress(console, "reading the folder");
  CALSEAL_ASSIGN(const auto loaded, load_context(options.trust, options.withdrawals));
  CALSEAL_ASSIGN(VehicleJob job, look(options, loaded->context));
  const bool judged = loaded->context.trust != nullptr;
  console.print(job_text(job, judged, page_for(console)));
  console.print_json(job_json(job, judged));
  return job.is_sound() ? 0 : 1;
}

Result<int> run_next(const LookOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const auto loaded, load_context(options.trust, options.withdrawals));
  CALSEAL_ASSIGN(const VehicleJob job, look(options, loaded->context));
  console.print(next_steps_text(job, page_for(console)));
  console.print_json(json_object(
      {{"calseal", json("job-next/1")}, {"job", json(job.facts.job)}, {"next", next_steps_json(job)}}));
  return 0;
}

}  // namespace

void add_job_status_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command =
      job.add_subcommand("status", "Where the job is, what happened, and what does not fit together");
  auto o = std::make_shared<LookOptions>();
  add_look_options(*command, *o);
  set_command(
      *command, console,
      {"calseal job status oak-17",
       "calseal job status oak-17 --trust shop.trust --withdrawals withdrawn-7.list --json"},
      [o](Console& c) { return run_status(*o, c); }, status);
}

void add_job_next_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command =
      job.add_subcommand("next", "The next step of each controller, with the command to type");
  auto o = std::make_shared<LookOptions>();
  add_look_options(*command, *o);
  set_command(
      *command, console, {"calseal job next oak-17"}, [o](Console& c) { return run_next(*o, c); }, status);
}

}  // namespace calseal
