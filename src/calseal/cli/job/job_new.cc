#include <filesystem>
#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/check/check.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/job/job_commands.h"
#include "calseal/cli/reads/read_arguments.h"
#include "calseal/cli/shop/new_salt.h"
#include "calseal/report/job/job_report.h"

namespace calseal {
namespace {

struct NewOptions : JobSigningOptions {
  std::vector<std::string> reads, option_files;
  std::string regions, folder, job, vehicle, salt, title;
  bool as_received = false;
};

// The folder's own name is the job's, unless another is stated.
std::string job_name(const NewOptions& options) {
  if (!options.job.empty()) return options.job;
  std::string folder = options.folder;
  while (folder.size() > 1 && folder.ends_with('/')) folder.pop_back();
  return std::filesystem::path(folder).filename().string();
}

Result<NewJob> load_request(const NewOptions& options) {
  NewJob request;
  request.folder = options.folder;
  request.job = job_name(options);
  request.vehicle_reference = options.vehicle;
  request.title = options.title;
  request.as_received = options.as_received;
  CALSEAL_ASSIGN(request.region_map, read_file(options.regions, kRegionMapSizeLimit));
  request.region_map_name = printable(options.regions);
  CALSEAL_ASSIGN(request.read, load_read_files(options.reads));
  CALSEAL_ASSIGN(request.options, load_options(options.option_files));
  if (options.salt.empty()) {
    CALSEAL_ASSIGN(request.salt, make_salt());
  } else {
    CALSEAL_ASSIGN(const Bytes text, read_file(options.salt, 4096));
    CALSEAL_ASSIGN(request.salt, parse_salt(text, printable(options.salt)));
  }
  return request;
}

Result<int> run(const NewOptions& options, const std::string& tool, const Console& console) {
  CALSEAL_ASSIGN(const NewJob request, load_request(options));
  std::unique_ptr<LoadedSigning> signing;
  if (!options.keys.empty()) {
    CALSEAL_ASSIGN(signing, load_signing(options, tool));
  }
  CALSEAL_ASSIGN(const OpenedBase made,
                 open_job(request, signing ? std::optional(signing->signing) : std::nullopt));
  CALSEAL_ASSIGN(const Job job, read_job(options.folder, {}));
  const Page page = page_for(console);
  std::string text = "made job folder " + printable(options.folder) + " for job " + job.facts.job + "\n";
  text += made.sealed
              ? labelled(page, "way back", made.bundle + ", sealed and checked as the customer will") +
                    labelled(page, "identity", digest_text(made.sealed->digest))
              : labelled(page, "way back", "not sealed: no key was given", Mark::kCaution);
  if (made.sealed) {
    for (const std::string& caution : made.sealed->manifest.cautions)
      text += labelled(page, "caution", printable(caution), Mark::kCaution);
  }
  if (made.sealed) text += handover_text(job, made.bundle, page);
  console.print(text + "\n" + next_step_text(next_step(job), page));
  console.print_json(json_object({{"calseal", json("job-new/1")},
                                  {"folder", json(printable(options.folder, kShownPathLimit))},
                                  {"job", json(job.facts.job)},
                                  {"controller", json(job.facts.controller)},
                                  {"bundle", json(made.bundle)},
                                  {"identity", json(made.sealed ? digest_text(made.sealed->digest) : "")},
                                  {"next", next_step_json(next_step(job))}}));
  return 0;
}

}  // namespace

void add_job_new_command(CommandLine& job, Console& console, const std::string& tool, int& status) {
  CommandLine* command =
      job.add_subcommand("new", "Make a job folder from the first read, and seal the way back");
  auto o = std::make_shared<NewOptions>();
  command
      ->add_option("READ", o->reads, "[MEMORY=]FILE: the read as received; one file or one for each memory")
      ->required();
  command->add_option("--regions", o->regions, "The region map")->required();
  command->add_option("-o,--output", o->folder, "The folder to make; its name is the job's")->required();
  command->add_option("--job", o->job, "Name of the job, where it is not the folder's");
  command->add_option("--vehicle", o->vehicle,
                      "The word by which you and the customer call this vehicle; not a VIN");
  command->add_option(
      "--salt", o->salt,
      "Salt of the vehicle's other job, where its controllers share one (default: a new one)");
  command->add_option("--option", o->option_files, "Option file that the customer ordered (repeatable)");
  command->add_option("--title", o->title, "One line for people");
  command->add_flag("--as-received", o->as_received,
                    "Keep the read as evidence and way back although its checks fail; nothing can be built "
                    "on it (see calseal job carry --stock)");
  add_job_signing_options(*command, *o, false);
  set_command(
      *command, console,
      {"calseal job new flash=f.bin eeprom=e.bin --regions engine.json --vehicle \"blue estate\" --key "
       "author.key --trust shop.trust -o oak-17"},
      [o, tool](Console& c) { return run(*o, tool, c); }, status);
}

}  // namespace calseal
