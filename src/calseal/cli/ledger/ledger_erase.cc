#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/ledger/ledger_commands.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/ledger/erase.h"

namespace calseal {
namespace {

struct EraseOptions {
  std::string folder, job, time;
};

Result<int> run(const EraseOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time, "--time"));
  CALSEAL_ASSIGN(const Erased erased, erase_job(options.folder, options.job, now));
  console.print("erased     details of " + grouped(erased.entries.size()) + " entries of job " +
                printable(options.job) + "\n           entry " + grouped(erased.said_by) +
                " says so, and nothing about whom\n" +
                "Copies of the ledger still hold them: erase there too, and delete the job's folder and its "
                "bundles.\n");
  console.print_json(
      json_object({{"calseal", json("ledger-erase/1")},
                   {"ledger", json(printable(options.folder, kShownPathLimit))},
                   {"entries", json_array(erased.entries, [](std::uint64_t index) { return json(index); })},
                   {"said_by", json(erased.said_by)}}));
  return 0;
}

}  // namespace

void add_ledger_erase_command(CommandLine& ledger, Console& console, int& status) {
  CommandLine* command = ledger.add_subcommand(
      "erase", "Take out all that the ledger knows about a job; its entries stay, and say nothing");
  auto o = std::make_shared<EraseOptions>();
  command->add_option("LEDGER", o->folder, "The ledger's folder")->takes("FOLDER")->required();
  command->add_option("--job", o->job, "Name of the job")->takes("NAME")->required();
  command->add_option("--time", o->time, "When it was asked for, instead of now (UTC)")->takes("TIME");
  set_command(
      *command, console, {"calseal ledger erase shop-ledger --job oak-17"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
