#include <filesystem>
#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/check.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/controllers.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/parcel_in_job.h"
#include "calseal/cli/shop/new_salt.h"
#include "calseal/cli/shop/parcel_opening.h"
#include "calseal/cli/shop/parcel_root.h"
#include "calseal/job/shop_of_job.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct NewOptions : JobSigningOptions, LedgerKeyOptions {
  std::vector<std::string> reads, option_files, regions, successions;
  std::string folder, job, vehicle, salt, title, ledger, shop;  // shop: the shop file that was used
  bool as_received = false;
  ParcelOpening opening;
};

// The folder's own name is the job's, unless another is stated.
std::string job_name(const NewOptions& options) {
  if (!options.job.empty()) return options.job;
  std::string folder = options.folder;
  while (folder.size() > 1 && folder.ends_with('/')) folder.pop_back();
  return std::filesystem::path(folder).filename().string();
}

Result<NewJob> load_request(const NewOptions& options, const SplitArguments& given, const Console& console) {
  Progress progress(console, "reading files and region maps");
  NewJob request;
  request.folder = options.folder;
  request.job = job_name(options);
  request.vehicle_reference = options.vehicle;
  request.title = options.title;
  CALSEAL_ASSIGN(request.shop, shop_to_keep(options.folder, options.shop));
  CALSEAL_CHECK(put_parcel_into(given.parcel, request));
  CALSEAL_ASSIGN(request.controllers, load_controllers({given.files, request.parcel, options.regions,
                                                        options.option_files, options.as_received}));
  if (options.salt.empty()) {
    CALSEAL_ASSIGN(request.salt, make_salt());
  } else {
    CALSEAL_ASSIGN(const Bytes text, read_file(options.salt, 4096));
    CALSEAL_ASSIGN(request.salt, parse_salt(text, printable(options.salt)));
  }
  return request;
}

Result<int> run(const NewOptions& options, const std::string& tool, const Console& console) {
  if (options.ledger.empty() && !options.ledger_key.empty())
    return fail(usage_error("--ledger-key", "no --ledger beside it", "the ledger that the job reports to",
                            "name it"));
  CALSEAL_ASSIGN(const SplitArguments given, split_any_parcel(options.reads, options.opening));
  CALSEAL_ASSIGN(const NewJob request, load_request(options, given, console));
  std::unique_ptr<LoadedSigning> signing;
  if (!options.keys.empty()) {
    CALSEAL_ASSIGN(signing, load_signing(options, options, tool));
  }
  CALSEAL_CHECK(judge_parcel_root(given.parcel, options.trust, options.successions));
  CALSEAL_ASSIGN(
      const MadeJob made,
      make_job(request, signing ? std::optional(signing->signing) : std::nullopt, way_back_message));
  CALSEAL_ASSIGN(VehicleJob job,
                 read_vehicle_job(options.folder, {signing ? signing->signing.trust : nullptr, nullptr}));
  LedgerOutcome ledger;
  if (!options.ledger.empty())
    ledger = do_ledger_duty(job, made, signing ? ledger_duty(*signing) : LedgerDuty{}, options.ledger);
  TakenParcel taken;
  if (given.parcel) {
    CALSEAL_ASSIGN(taken, attach_parcel_logs(options.folder, *given.parcel, parcel_file(1)));
  }
  const Page page = page_for(console);
  const std::string place = printable(options.folder, kShownPathLimit);
  console.print("made job " + job.facts.job + "\n" +
                (place == job.facts.job ? "" : labelled(page, "folder", place)) + made_text(job, made, page) +
                (given.parcel ? "\n" : "") + taken_parcel_text(taken, page) + ledger_text(ledger, page));
  JsonValue value = json_object({{"calseal", json("job-new/1")},
                                 {"folder", json(printable(options.folder, kShownPathLimit))},
                                 {"job", json(job.facts.job)}});
  add_made(value, job, made);
  add_ledger(value, ledger);
  add_taken_parcel(value, taken);
  console.print_json(value);
  return ledger.status();
}

}  // namespace

void add_job_new_command(CommandLine& job, Console& console, const std::string& tool, int& status) {
  CommandLine* command =
      job.add_subcommand("new", "Make a job folder from the first reads, and seal the way backs");
  auto o = std::make_shared<NewOptions>();
  command
      ->add_option("READ", o->reads,
                   "The reads as received, of one controller or of several; the parcel that they came in")
      ->takes("[[CONTROLLER.]MEMORY=]FILE")
      ->required();
  command
      ->add_option("--regions", o->regions,
                   "A region map, or a folder of them from which the reads choose (repeatable)")
      ->takes("FILE|FOLDER")
      ->required();
  command->add_option("-o,--output", o->folder, "The folder to make; its name is the job's")
      ->takes("FOLDER")
      ->required();
  command->add_option("--job", o->job, "Name of the job, where it is not the folder's");
  command->add_option("--vehicle", o->vehicle,
                      "The word by which you and the customer call this vehicle; not a VIN");
  command
      ->add_option("--salt", o->salt,
                   "Salt file to use, where the vehicle has one already (default: a new salt)")
      ->takes("FILE");
  command->add_option("--option", o->option_files, "Option file that the customer ordered (repeatable)")
      ->takes("FILE");
  command->add_option("--title", o->title, "One line for people");
  command->add_flag("--as-received", o->as_received,
                    "Keep the read as evidence and way back although its checks fail; nothing can be built "
                    "on it (see calseal job carry --stock)");
  command->add_option("--ledger", o->ledger, "The ledger that the job reports to from now on")
      ->takes("FOLDER");
  add_ledger_key_option(*command, *o);
  add_parcel_opening(*command, o->opening);
  add_parcel_successions(*command, o->successions);
  ShopLook look{"--output"};
  look.used = &o->shop;
  ShopDefault head_key = kShopHeadKey;
  head_key.with = kShopJobLedger.option;
  add_job_signing_options(*command, *o, false, {kShopRegions, kShopJobLedger, head_key, kShopParcelKey},
                          look);
  set_command(
      *command, console,
      {"calseal job new engine.bin engine-eeprom.bin transmission.bin --regions maps --vehicle \"blue "
       "estate\" --key "
       "author.key --trust shop.trust -o oak-17",
       "calseal job new flash=f.bin eeprom=e.bin --regions engine.json --vehicle \"blue estate\" --key "
       "author.key --trust shop.trust -o oak-17",
       "calseal job new to-shop.parcel --regions maps --key author.key --trust shop.trust -o oak-17"},
      [o, tool](Console& c) { return run(*o, tool, c); }, status);
}

}  // namespace calseal
