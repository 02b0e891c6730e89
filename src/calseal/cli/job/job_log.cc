#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/cli/job/parcel_in_job.h"
#include "calseal/cli/shop/parcel_opening.h"
#include "calseal/cli/shop/parcel_root.h"
#include "calseal/job/layout.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct LogOptions : JobFolderOptions {
  std::string log, word, time_column, time_unit, separator, time, trust;
  std::vector<std::string> successions;
  std::optional<std::uint64_t> base, revision;
  bool customer_changed = false;
  ParcelOpening opening;
};

char separator_of(const std::string& name) {
  return name == "tab" ? '\t' : name == "semicolon" ? ';' : name == "comma" ? ',' : 0;
}

Result<AttachedLog> attached_with_progress(const Job& job, AttachRequest& request, UtcTime now,
                                           const Console& console) {
  Progress progress(console, "reading the log");
  request.read = [&](std::uint64_t bytes) { progress.at(grouped(bytes >> 20) + " MiB"); };
  return attach_log(job, request, now);
}

// A parcel comes in with all its logs; what is said of one log on the command line cannot be about all.
Result<int> run_parcel(const LogOptions& options, const JobAtHand& at_hand, const OpenedParcel& parcel,
                       UtcTime now, const Console& console) {
  if (options.revision || options.base || !options.word.empty())
    return fail(usage_error("--revision", "a parcel", "a log", "the parcel says which revision was driven"));
  CALSEAL_CHECK(judge_parcel(at_hand.job, parcel, options.customer_changed));
  CALSEAL_ASSIGN(const TakenParcel taken, take_parcel(at_hand.job, parcel, now));
  CALSEAL_ASSIGN(const VehicleJob after, at_hand.after({}));
  const LedgerOutcome ledger = do_ledger_duty(after, {});
  const Page page = page_for(console);
  console.print(taken_parcel_text(taken, page) + ledger_text(ledger, page));
  JsonValue value = json_object({{"calseal", json("job-log-parcel/1")}});
  add_taken_parcel(value, taken);
  add_ledger(value, ledger);
  console.print_json(value);
  return ledger.status();
}

Result<int> run(const LogOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const JobAtHand at_hand, take_job(options, {}));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time, "--time"));
  CALSEAL_ASSIGN(const SplitArguments given, split_any_parcel({options.log}, options.opening));
  CALSEAL_CHECK(judge_parcel_root(given.parcel, options.trust, options.successions));
  if (given.parcel) return run_parcel(options, at_hand, *given.parcel, now, console);
  CALSEAL_ASSIGN(const Job* const job, at_hand.one());
  AttachRequest request;
  request.path = options.log;
  request.name = printable(options.log, kShownPathLimit);
  request.reading = {separator_of(options.separator), options.time_column, options.time_unit};
  request.base = options.base;
  request.revision = options.revision;
  request.word = options.word;
  CALSEAL_ASSIGN(const AttachedLog attached, attached_with_progress(*job, request, now, console));
  console.print(attached_log_text(attached, page_for(console)));
  console.print_json(attached_log_json(attached));
  return 0;
}

}  // namespace

void add_job_log_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command = job.add_subcommand(
      "log", "Attach a drive log: measured, kept by its digest, counted only as what it proves to be");
  auto o = std::make_shared<LogOptions>();
  add_job_folder(*command, *o);
  command
      ->add_option(
          "LOG", o->log,
          "The log: rows of values with a header line, as the logger wrote it; or a parcel with logs")
      ->takes("FILE")
      ->required();
  command->add_option("--revision", o->revision, "The revision that was driven, by your word");
  command->add_option("--base", o->base, "Its base (default: the current one)");
  command->add_option("--word", o->word, "How you know; needed where nothing in the log names the revision");
  command->add_option("--time-column", o->time_column,
                      "Header of the column of time (default: time, timestamp and other usual names)");
  command->add_option("--time-unit", o->time_unit, "Its unit, where the log does not say it")
      ->one_of({"us", "ms", "s", "min"});
  command->add_option("--separator", o->separator, "What is between fields (default: as the header shows)")
      ->one_of({"comma", "semicolon", "tab"});
  add_customer_changed(*command, o->customer_changed);
  add_parcel_opening(*command, o->opening);
  add_parcel_trust(*command, o->trust);
  add_parcel_successions(*command, o->successions);
  command->add_option("--time", o->time, "When it was attached, instead of now (UTC)")->takes("TIME");
  add_shop_option(*command, {kShopParcelKey, kParcelTrust}, look_from_job());
  set_command(
      *command, console,
      {"calseal job log oak-17 drive.csv",
       "calseal job log oak-17 drive.csv --revision 2 --word \"flashed on my ramp, driven by me\" "
       "--time-unit ms"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
