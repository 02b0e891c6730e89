#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/hand_over.h"
#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/job/ledger_duty.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/job/layout.h"
#include "calseal/job/mend_map.h"
#include "calseal/job/send.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct CarryOptions : JobFolderOptions, JobSigningOptions, LedgerKeyOptions {
  std::string reason;
  std::vector<std::string> reads, stock, regions;
};

// The region maps of what the controllers have now.
Result<RegionMapLibrary> maps_in_force(const VehicleJob& job, const Signing& signing) {
  RegionMapLibrary library;
  for (const Job& one : job.controllers) {
    if (one.base().way_back() == nullptr) continue;
    CALSEAL_ASSIGN(const OpenedBundle way_back, open_way_back(one, signing));
    CALSEAL_ASSIGN(RegionMap map, map_in_force(one, way_back));
    library.maps.push_back({printable(one.folder), std::move(map)});
  }
  if (library.maps.empty()) CALSEAL_CHECK(open_way_back(job.controllers.front(), signing));
  return library;
}

// With one region map that was named the read must be of it. From a folder the read chooses, and what the
// controllers have now is among the choices.
Result<RegionMapLibrary> maps_to_choose_from(const CarryOptions& options, const VehicleJob& job,
                                             const Signing& signing) {
  RegionMapLibrary library;
  if (!options.regions.empty()) {
    CALSEAL_ASSIGN(library, load_region_maps(options.regions));
    if (library.maps.size() == 1) return library;
  }
  CALSEAL_ASSIGN(RegionMapLibrary in_force, maps_in_force(job, signing));
  for (LibraryMap& map : in_force.maps) library.maps.push_back(std::move(map));
  return library;
}

struct Carrying {
  const Job* job = nullptr;
  CarryRequest request;
};

// Whose read it is: as named, else by the region map that recognises it.
Result<Carrying> load_request(const CarryOptions& options, const JobAtHand& at_hand, const Signing& signing) {
  const VehicleJob& job = at_hand.job;
  CALSEAL_ASSIGN(const std::vector<LooseFile> files, load_loose_files(options.reads, at_hand.controller));
  CALSEAL_ASSIGN(const RegionMapLibrary library, maps_to_choose_from(options, job, signing));
  CALSEAL_ASSIGN(const std::vector<SortedRead> sorted, sort_reads(library, files));
  const RegionMap& map = library.maps[sorted.front().map].map;
  if (sorted.size() > 1) {
    return fail(usage_error("READ", "reads of several controllers", "the read of one",
                            "run the command once for each"));
  }
  Carrying carrying;
  CALSEAL_ASSIGN(carrying.job, one_controller(job, map.controller));
  carrying.request.read = sorted.front().files;
  if (carrying.job->base().map_digest != map.digest) {
    carrying.request.region_map = map.text;
    carrying.request.region_map_name = library.maps[sorted.front().map].file;
  }
  CALSEAL_ASSIGN(carrying.request.stock, load_read_files(options.stock));
  carrying.request.reason = options.reason;
  return carrying;
}

Result<int> run(const CarryOptions& options, const std::string& tool, const Console& console) {
  CALSEAL_ASSIGN(const auto loaded, load_signing(options, options, tool));
  const JobContext context{loaded->signing.trust, nullptr};
  CALSEAL_ASSIGN(const JobAtHand at_hand, take_job(options, context));
  CALSEAL_CHECK(require_ledger(at_hand.job, options));
  CALSEAL_ASSIGN(const Carrying carrying, load_request(options, at_hand, loaded->signing));
  CALSEAL_ASSIGN(const NewBase made, carry(*carrying.job, carrying.request, loaded->signing));
  CALSEAL_ASSIGN(const HandedOver handed,
                 hand_over(at_hand, context, {{carrying.job->facts.controller, 0}}, ledger_duty(*loaded)));
  const Page page = page_for(console);
  console.print(carried_base_text(*carrying.job, made, page) + handed_over_text(handed, page));
  JsonValue value = carried_base_json(made);
  add_handed_over(value, handed);
  console.print_json(value);
  return handed.ledger.status();
}

}  // namespace

void add_job_carry_command(CommandLine& job, Console& console, const std::string& tool, int& status) {
  CommandLine* command = job.add_subcommand(
      "carry",
      "Open the next base after a dealer's update or a replaced controller, and take the options along");
  auto o = std::make_shared<CarryOptions>();
  add_job_folder(*command, *o);
  command->add_option("READ", o->reads, "The controller as it is now")
      ->takes("[[CONTROLLER.]MEMORY=]FILE")
      ->required();
  command
      ->add_option(
          "--regions", o->regions,
          "Region map of the new software, or a folder of them (default: the one of the base before)")
      ->takes("FILE|FOLDER");
  command->add_option("--reason", o->reason, "Why the base is new, one line; it is signed")->required();
  command
      ->add_option("--stock", o->stock,
                   "A known stock of the same software as the base, bound to this vehicle "
                   "by the bytes that are its own in READ")
      ->takes("[MEMORY=]FILE");
  add_ledger_key_option(*command, *o);
  add_job_signing_options(*command, *o, true, {kShopRegions, head_key_of_job()});
  set_command(
      *command, console,
      {"calseal job carry oak-17 flash=updated.bin eeprom=e.bin --regions engine-391.json --reason "
       "\"dealer's update\" --key author.key --trust shop.trust",
       "calseal job carry oak-17 flash=f.bin eeprom=e.bin --stock flash=known/e1.bin --reason \"the read was "
       "modified before us\" --key author.key --trust shop.trust"},
      [o, tool](Console& c) { return run(*o, tool, c); }, status);
}

}  // namespace calseal
