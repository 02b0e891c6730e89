#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/job/layout.h"

namespace calseal {
namespace {

struct JobLedgerOptions : LedgerKeyOptions {
  std::string folder, ledger, trust, passphrase_file, time;
};

Result<int> run(const JobLedgerOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const FolderLock lock, FolderLock::take(options.folder, kJobFolder));
  CALSEAL_ASSIGN(const LoadedTrust trust, load_trust(options.trust));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time));
  CALSEAL_ASSIGN(const Job job, read_job(options.folder, {&trust.trust, nullptr}));
  if (!options.ledger.empty()) {
    CALSEAL_CHECK(link_ledger(options.folder, options.ledger));
  }
  LedgerDuty duty{options.ledger_key, options.passphrase_file, &trust.trust, now, ""};
  if (const JobRevision* newest = job.base().newest()) duty.bundle = newest->file;
  CALSEAL_ASSIGN(const std::optional<EnteredJob> entered, do_ledger_duty(job, duty));
  if (!entered) {
    return fail(usage_error("LEDGER", "a job that reports to no ledger", "the ledger's folder",
                            "name it; calseal ledger new makes one"));
  }
  const Page page = page_for(console);
  console.print("job " + job.facts.job + " is in the ledger\n" + ledger_duty_text(entered, page) +
                (entered->head_file.empty()
                     ? ""
                     : labelled(page, "head", printable(options.folder + "/" + entered->head_file, 1000))));
  JsonValue value = json_object({{"calseal", json("job-ledger-entered/1")}, {"job", json(job.facts.job)}});
  add_ledger_duty(value, entered);
  console.print_json(value);
  return 0;
}

}  // namespace

void add_job_ledger_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command = job.add_subcommand(
      "ledger", "Let the job report to the shop's ledger, and enter what is missing there");
  auto o = std::make_shared<JobLedgerOptions>();
  command->add_option("FOLDER", o->folder, "The job folder")->required();
  command->add_option("LEDGER", o->ledger, "The ledger's folder (default: the one that the job reports to)");
  command->add_option("--trust", o->trust, "The shop's trust file")->required();
  add_ledger_key_option(*command, *o);
  command->add_option("--passphrase-file", o->passphrase_file, "First line: passphrase of the key");
  command->add_option("--claimed-time", o->time, "Time to state in the head instead of now (UTC)");
  set_command(
      *command, console,
      {"calseal job ledger oak-17 shop-ledger --trust shop.trust",
       "calseal job ledger oak-17 --trust shop.trust --ledger-key ledger.key"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
