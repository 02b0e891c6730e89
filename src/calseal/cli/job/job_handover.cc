#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/hand_over.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct HandoverOptions : JobFolderOptions {
  std::optional<std::uint64_t> revision;
};

// The newest revision of every controller that is not closed, or the one that is named.
Result<std::vector<WantedRevision>> revisions_of(const HandoverOptions& options, const JobAtHand& at_hand) {
  std::vector<WantedRevision> revisions;
  if (options.revision || !at_hand.controller.empty()) {
    CALSEAL_ASSIGN(const Job* const job, at_hand.one());
    const JobRevision* newest = job->base().newest();
    revisions.push_back(
        {job->facts.controller, options.revision.value_or(newest == nullptr ? 0 : newest->number())});
    return revisions;
  }
  for (const Job& one : at_hand.job.controllers) {
    const JobRevision* newest = one.base().newest();
    if (!one.closed() && newest != nullptr) revisions.push_back({one.facts.controller, newest->number()});
  }
  return revisions;
}

Result<int> run(const HandoverOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const JobAtHand at_hand, take_job(options, {}));
  CALSEAL_ASSIGN(const std::vector<WantedRevision> revisions, revisions_of(options, at_hand));
  HandedOver handed;
  CALSEAL_ASSIGN(handed.handover, hand_over_kept(at_hand.job, revisions, kept_message));
  CALSEAL_ASSIGN(handed.job, at_hand.after({}));
  console.print(handed_over_text(handed, page_for(console)));
  JsonValue value = json_object({{"calseal", json("job-handover/1")}, {"job", json(handed.job.facts.job)}});
  add_handed_over(value, handed);
  console.print_json(value);
  return 0;
}

}  // namespace

void add_job_handover_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command =
      job.add_subcommand("handover", "Make a folder to hand over again: newest revisions, or one of them");
  auto o = std::make_shared<HandoverOptions>();
  add_job_folder(*command, *o);
  command->add_option("--revision", o->revision, "A revision of the current base (default: the newest)");
  set_command(
      *command, console,
      {"calseal job handover oak-17", "calseal job handover oak-17 --controller engine --revision 0"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
