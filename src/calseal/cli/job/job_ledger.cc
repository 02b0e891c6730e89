#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/job/layout.h"

namespace calseal {
namespace {

struct JobLedgerOptions : JobFolderOptions, LedgerKeyOptions {
  std::string ledger, trust, passphrase_file, time;
};

Result<int> run(const JobLedgerOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const LoadedTrust trust, load_trust(options.trust));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
  CALSEAL_ASSIGN(const JobAtHand at_hand, take_job(options, {&trust.trust, nullptr}));
  const VehicleJob& job = at_hand.job;
  KeysOnDemand keys(options.key_files(), options.passphrase_file);
  LedgerDuty duty{&keys, &trust.trust, now, {}, ""};
  for (const Job& one : job.controllers) {
    if (!options.ledger.empty()) CALSEAL_CHECK(link_ledger(one.folder, options.ledger));
    if (const JobRevision* newest = one.base().newest())
      duty.bundles.push_back(one.facts.controller + "/" + newest->file);
  }
  if (job.newest_handover != 0) duty.handover = handover_folder(job.newest_handover);
  const LedgerOutcome ledger = do_ledger_duty(job, duty);
  if (ledger.failed) return fail(*ledger.failed);
  if (!ledger.entered) {
    return fail(usage_error("LEDGER", "a job that reports to no ledger", "the ledger's folder",
                            "name it; calseal ledger new makes one"));
  }
  const Page page = page_for(console);
  const std::string& head = ledger.entered->head_file;
  console.print("job " + job.facts.job + " is in the ledger\n" + ledger_text(ledger, page) +
                (head.empty() ? "" : labelled(page, "head", printable(job.folder + "/" + head, 1000))));
  JsonValue value = json_object({{"calseal", json("job-ledger-entered/1")}, {"job", json(job.facts.job)}});
  add_ledger(value, ledger);
  console.print_json(value);
  return 0;
}

}  // namespace

void add_job_ledger_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command = job.add_subcommand(
      "ledger", "Let the job report to the shop's ledger, and enter what is missing there");
  auto o = std::make_shared<JobLedgerOptions>();
  add_job_folder(*command, *o);
  command->add_option("LEDGER", o->ledger, "The ledger's folder (default: the one that the job reports to)")
      ->takes("FOLDER");
  command->add_option("--trust", o->trust, "The shop's trust file")->takes("FILE")->required();
  add_ledger_key_option(*command, *o);
  command->add_option("--passphrase-file", o->passphrase_file, "First line: passphrase of the key")
      ->takes("FILE");
  command->add_option("--claimed-time", o->time, "Time to state in the head instead of now (UTC)")
      ->takes("TIME");
  set_command(
      *command, console,
      {"calseal job ledger oak-17 shop-ledger --trust shop.trust",
       "calseal job ledger oak-17 --trust shop.trust --ledger-key ledger.key"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
