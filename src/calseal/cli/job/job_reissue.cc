#include <memory>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/hand_over.h"
#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/job/layout.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct ReissueOptions : JobFolderOptions, JobSigningOptions, LedgerKeyOptions {
  std::uint64_t revision = 0;
};

Result<int> run(const ReissueOptions& options, const std::string& tool, const Console& console) {
  CALSEAL_ASSIGN(const auto loaded, load_signing(options, options, tool));
  const JobContext context{loaded->signing.trust, nullptr};
  CALSEAL_ASSIGN(const JobAtHand at_hand, take_job(options, context));
  CALSEAL_CHECK(require_ledger(at_hand.job, options));
  CALSEAL_ASSIGN(const Job* const job, at_hand.one());
  CALSEAL_ASSIGN(const Reissued made, reissue(*job, options.revision, loaded->signing));
  CALSEAL_ASSIGN(
      const HandedOver handed,
      hand_over(at_hand, context, {{job->facts.controller, options.revision}}, ledger_duty(*loaded)));
  const Page page = page_for(console);
  console.print(reissued_text(*job, made, page) + handed_over_text(handed, page));
  JsonValue value = reissued_json(*job, made);
  add_handed_over(value, handed);
  console.print_json(value);
  return handed.ledger.status();
}

}  // namespace

void add_job_reissue_command(CommandLine& job, Console& console, const std::string& tool, int& status) {
  CommandLine* command = job.add_subcommand(
      "reissue", "Give a revision again with its whole image, to a customer who lost his read");
  auto o = std::make_shared<ReissueOptions>();
  add_job_folder(*command, *o);
  command->add_option("REVISION", o->revision, "Number of a revision of the current base")
      ->required()
      ->in_range(0, 1099511627775);
  add_ledger_key_option(*command, *o);
  add_job_signing_options(*command, *o, true, {head_key_of_job()});
  set_command(
      *command, console, {"calseal job reissue oak-17 2 --key author.key --trust shop.trust"},
      [o, tool](Console& c) { return run(*o, tool, c); }, status);
}

}  // namespace calseal
