#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/controllers.h"
#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/parcel_in_job.h"
#include "calseal/cli/shop/parcel_opening.h"
#include "calseal/cli/shop/parcel_root.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct AddOptions : JobSigningOptions, LedgerKeyOptions {
  JobFolderOptions job;
  std::vector<std::string> reads, option_files, regions, successions;
  bool as_received = false, customer_changed = false;
  ParcelOpening opening;
};

Result<int> run(const AddOptions& options, const std::string& tool, const Console& console) {
  CALSEAL_ASSIGN(const JobAtHand at_hand, take_job(options.job, {}));
  CALSEAL_CHECK(require_ledger(at_hand.job, options));
  CALSEAL_ASSIGN(const SplitArguments given, split_any_parcel(options.reads, options.opening));
  const OpenedParcel* const parcel = given.parcel ? &*given.parcel : nullptr;
  if (parcel != nullptr) CALSEAL_CHECK(judge_parcel(at_hand.job, *parcel, options.customer_changed));
  CALSEAL_CHECK(judge_parcel_root(given.parcel, options.trust, options.successions));
  CALSEAL_ASSIGN(
      const std::vector<NewController> controllers,
      load_controllers({given.files, parcel, options.regions, options.option_files, options.as_received}));
  if (controllers.size() > 1)
    return fail(
        usage_error("READ", "reads of several controllers", "those of one", "run the command once for each"));
  std::unique_ptr<LoadedSigning> signing;
  if (!options.keys.empty()) {
    CALSEAL_ASSIGN(signing, load_signing(options, options, tool));
  }
  CALSEAL_ASSIGN(const MadeJob made,
                 add_controller(at_hand.job, controllers.front(),
                                signing ? std::optional(signing->signing) : std::nullopt, way_back_message));
  CALSEAL_ASSIGN(const VehicleJob job, at_hand.after({signing ? signing->signing.trust : nullptr, nullptr}));
  TakenParcel taken;
  if (parcel != nullptr) {
    CALSEAL_ASSIGN(taken, take_parcel(job, *parcel, signing ? signing->signing.now : current_time()));
  }
  const LedgerOutcome ledger = do_ledger_duty(job, made, signing ? ledger_duty(*signing) : LedgerDuty{});
  const Page page = page_for(console);
  console.print("added " + made.opened.front().controller + " to job " + job.facts.job + "\n" +
                made_text(job, made, page) + (given.parcel ? "\n" : "") + taken_parcel_text(taken, page) +
                ledger_text(ledger, page));
  JsonValue value = json_object({{"calseal", json("job-add/1")}, {"job", json(job.facts.job)}});
  add_made(value, job, made);
  add_taken_parcel(value, taken);
  add_ledger(value, ledger);
  console.print_json(value);
  return ledger.status();
}

}  // namespace

void add_job_add_command(CommandLine& job, Console& console, const std::string& tool, int& status) {
  CommandLine* command = job.add_subcommand("add", "Add one more controller of the vehicle to a job");
  auto o = std::make_shared<AddOptions>();
  command->add_option("FOLDER", o->job.folder, "The job folder")->takes("FOLDER")->required();
  command
      ->add_option("READ", o->reads,
                   "The read as received; one file or one for each memory; or the parcel that it came in")
      ->takes("[MEMORY=]FILE")
      ->required();
  command
      ->add_option("--regions", o->regions,
                   "A region map, or a folder of them from which the read chooses (repeatable)")
      ->takes("FILE|FOLDER")
      ->required();
  command->add_option("--option", o->option_files, "Option file that the customer ordered (repeatable)")
      ->takes("FILE");
  command->add_flag("--as-received", o->as_received,
                    "Keep the read as evidence and way back although its checks fail");
  add_ledger_key_option(*command, *o);
  add_customer_changed(*command, o->customer_changed);
  add_parcel_opening(*command, o->opening);
  add_parcel_successions(*command, o->successions);
  add_job_signing_options(*command, *o, false, {kShopRegions, head_key_of_job(), kShopParcelKey});
  set_command(
      *command, console,
      {"calseal job add oak-17 transmission.bin --regions maps --key author.key --trust shop.trust"},
      [o, tool](Console& c) { return run(*o, tool, c); }, status);
}

}  // namespace calseal
