#include <memory>

#include "calseal/base/file.h"
#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/job/mend_map.h"
#include "calseal/report/changes/map_diff_text.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct RegionsOptions : JobFolderOptions {
  std::string map, time;
};

// The controller that is named, or the one that the map is of.
Result<const Job*> owner_of(const JobAtHand& at_hand, const RegionMap& map) {
  return one_controller(at_hand.job, at_hand.controller.empty() ? map.controller : at_hand.controller);
}

Result<int> run(const RegionsOptions& options, const Console& console) {
  CALSEAL_ASSIGN(const JobAtHand at_hand, take_job(options, {}));
  CALSEAL_ASSIGN(const UtcTime now, stated_time(options.time, "--time"));
  CALSEAL_ASSIGN(Bytes text, read_file(options.map, kRegionMapSizeLimit));
  CALSEAL_ASSIGN(const RegionMap map, parse_region_map(text, printable(options.map)));
  CALSEAL_ASSIGN(const Job* const job, owner_of(at_hand, map));
  CALSEAL_ASSIGN(const MendedMap mended, mend_map(*job, std::move(text), printable(options.map), now));
  const Page page = page_for(console);
  console.print("the next revision of " + job->facts.controller + " is proved by " + mended.after.name +
                " version " + std::to_string(mended.after.version) + "\n" +
                map_diff_text(mended.before, mended.after, mended.diff, page) +
                (mended.diff.widens
                     ? labelled(page, "approval",
                                "needed when it is sealed: calseal regions approve, then job send --approval",
                                Mark::kCaution)
                     : labelled(page, "approval", "not needed", Mark::kGood)));
  console.print_json(json_object({{"calseal", json("job-regions/1")},
                                  {"job", json(at_hand.job.facts.job)},
                                  {"controller", json(job->facts.controller)},
                                  {"file", json(mended.file)},
                                  {"before", json(mended.before.version)},
                                  {"after", json(mended.after.version)},
                                  {"widens", json(mended.diff.widens)}}));
  return 0;
}

}  // namespace

void add_job_regions_command(CommandLine& job, Console& console, int& status) {
  CommandLine* command = job.add_subcommand(
      "regions", "Go on with a mended region map: the next revisions are proved by it, what is sealed stays");
  auto o = std::make_shared<RegionsOptions>();
  add_job_folder(*command, *o);
  command->add_option("MAP", o->map, "A higher version of the region map that the controller has")
      ->takes("FILE")
      ->required();
  command->add_option("--time", o->time, "When it was mended, instead of now (UTC)")->takes("TIME");
  set_command(
      *command, console, {"calseal job regions oak-17 regions/engine-4.json"},
      [o](Console& c) { return run(*o, c); }, status);
}

}  // namespace calseal
