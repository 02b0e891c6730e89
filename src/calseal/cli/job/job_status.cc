#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct LookOptions {
  std::string folder, trust, withdrawals;
};

void add_look_options(CommandLine& command, LookOptions& options) {
  command.add_option("FOLDER", options.folder, "The job folder")->required();
  command.add_option("--trust", options.trust, "The shop's trust file: judges every seal");
  command.add_option("--withdrawals", options.withdrawals, "The shop's newest list of withdrawals");
}

Result<int> run_status(const LookOptions& options, const Console& console) {
  const Progress progress(console, "reading the folder");
  CALSEAL_ASSIGN(const auto loaded, load_context(options.trust, options.withdrawals));
  CALSEAL_ASSIGN(const Job job, read_job(options.folder, loaded->context));
  const bool judged = loaded->context.trust != nullptr;
  console.print(job_text(job, judged, page_for(console)));
  console.print_json(job_json(job, judged));
  return job.findings.empty() ? 0 : 1;
}

Result<int> run_next(const LookOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const auto loaded, load_context(options.trust, options.withdrawals));
  CALSEAL_ASSIGN(const Job job, read_job(options.folder, loaded->context));
  const NextStep step = next_step(job);
  console.print(next_step_text(step, page_for(console)));
  JsonValue value = json_object({{"calseal", json("job-next/1")}, {"job", json(job.facts.job)}});
  for (auto& member : next_step_json(step).members) value.members.push_back(std::move(member));
  console.print_json(value);
  return 0;
}

}  // namespace

void add_job_status_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command =
      job.add_subcommand("status", "Where the job stands, what happened, and what does not fit together");
  auto o = std::make_shared<LookOptions>();
  add_look_options(*command, *o);
  set_command(
      *command, console,
      {"calseal job status oak-17",
       "calseal job status oak-17 --trust shop.trust --withdrawals withdrawn-7.list --json"},
      [o](Console& c) { return run_status(*o, c); }, status);
}

void add_job_next_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command = job.add_subcommand("next", "The one next step, with the command to type");
  auto o = std::make_shared<LookOptions>();
  add_look_options(*command, *o);
  set_command(
      *command, console, {"calseal job next oak-17"}, [o](Console& c) { return run_next(*o, c); }, status);
}

}  // namespace calseal
