#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/job/layout.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct CarryOptions : JobSigningOptions, LedgerKeyOptions {
  std::string folder, regions, reason;
  std::vector<std::string> reads, stock;
};

Result<int> run(const CarryOptions& options, const std::string& tool, const Console& console) {
  CALSEAL_ASSIGN(const FolderLock lock, FolderLock::take(options.folder, kJobFolder));
  CALSEAL_ASSIGN(const auto loaded, load_signing(options, tool));
  CALSEAL_ASSIGN(const Job job, read_job(options.folder, {loaded->signing.trust, nullptr}));
  CarryRequest request;
  CALSEAL_ASSIGN(request.read, load_read_files(options.reads));
  if (!options.regions.empty()) {
    CALSEAL_ASSIGN(request.region_map, read_file(options.regions, kRegionMapSizeLimit));
    request.region_map_name = printable(options.regions);
  }
  CALSEAL_ASSIGN(request.stock, load_read_files(options.stock));
  request.reason = options.reason;
  CALSEAL_ASSIGN(const NewBase made, carry(job, request, loaded->signing));
  CALSEAL_ASSIGN(const Job after, read_job(options.folder, {loaded->signing.trust, nullptr}));
  CALSEAL_ASSIGN(const auto entered,
                 do_ledger_duty(after, {options.ledger_key, options.passphrase_file, loaded->signing.trust,
                                        loaded->signing.now, made.bundle}));
  const Page page = page_for(console);
  console.print(carried_base_text(after, made, page) + ledger_duty_text(entered, page) +
                handover_text(after, made.bundle, page) + "\n" + next_step_text(next_step(after), page));
  JsonValue value = carried_base_json(after, made);
  add_ledger_duty(value, entered);
  console.print_json(value);
  return 0;
}

}  // namespace

void add_job_carry_command(CommandLine& job, Console& console, const std::string& tool, int& status) {
  CommandLine* command = job.add_subcommand(
      "carry",
      "Open the next base after a dealer's update or a replaced controller, and take the options along");
  auto o = std::make_shared<CarryOptions>();
  command->add_option("FOLDER", o->folder, "The job folder")->required();
  command->add_option("READ", o->reads, "[MEMORY=]FILE: the controller as it is now")->required();
  command->add_option("--regions", o->regions,
                      "Region map of the new software (default: the one of the base before)");
  command->add_option("--reason", o->reason, "Why the base is new, one line; it is signed")->required();
  command->add_option("--stock", o->stock,
                      "[MEMORY=]FILE: a known stock of the same software as the base, bound to this vehicle "
                      "by the bytes that are its own in READ");
  add_job_signing_options(*command, *o, true);
  add_ledger_key_option(*command, *o);
  set_command(
      *command, console,
      {"calseal job carry oak-17 flash=updated.bin eeprom=e.bin --regions engine-391.json --reason "
       "\"dealer's update\" --key author.key --trust shop.trust",
       "calseal job carry oak-17 flash=f.bin eeprom=e.bin --stock flash=known/e1.bin --reason \"the read was "
       "modified before us\" --key author.key --trust shop.trust"},
      [o, tool](Console& c) { return run(*o, tool, c); }, status);
}

}  // namespace calseal
