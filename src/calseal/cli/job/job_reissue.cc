#include <memory>

#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/job/layout.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct ReissueOptions : JobSigningOptions, LedgerKeyOptions {
  std::string folder;
  std::uint64_t revision = 0;
};

Result<int> run(const ReissueOptions& options, const std::string& tool, const Console& console) {
  CALSEAL_ASSIGN(const FolderLock lock, FolderLock::take(options.folder, kJobFolder));
  CALSEAL_ASSIGN(const auto loaded, load_signing(options, tool));
  CALSEAL_ASSIGN(const Job job, read_job(options.folder, {loaded->signing.trust, nullptr}));
  CALSEAL_ASSIGN(const Reissued made, reissue(job, options.revision, loaded->signing));
  CALSEAL_ASSIGN(const Job after, read_job(options.folder, {loaded->signing.trust, nullptr}));
  CALSEAL_ASSIGN(const auto entered,
                 do_ledger_duty(after, {options.ledger_key, options.passphrase_file, loaded->signing.trust,
                                        loaded->signing.now, made.bundle}));
  const Page page = page_for(console);
  console.print(reissued_text(after, made, page) + ledger_duty_text(entered, page) +
                handover_text(after, made.bundle, page) + "\n" + next_step_text(next_step(after), page));
  JsonValue value = reissued_json(after, made);
  add_ledger_duty(value, entered);
  console.print_json(value);
  return 0;
}

}  // namespace

void add_job_reissue_command(CommandLine& job, Console& console, const std::string& tool, int& status) {
  CommandLine* command = job.add_subcommand(
      "reissue", "Give a revision again with its whole image, to a customer who lost his read");
  auto o = std::make_shared<ReissueOptions>();
  command->add_option("FOLDER", o->folder, "The job folder")->required();
  command->add_option("REVISION", o->revision, "Number of a revision of the current base")
      ->required()
      ->in_range(0, 1099511627775);
  add_job_signing_options(*command, *o, true);
  add_ledger_key_option(*command, *o);
  set_command(
      *command, console, {"calseal job reissue oak-17 2 --key author.key --trust shop.trust"},
      [o, tool](Console& c) { return run(*o, tool, c); }, status);
}

}  // namespace calseal
