#include "calseal/cli/job/controllers.h"

#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/bundle/signed_json.h"
#include "calseal/cli/job/job_at_hand.h"
#include "calseal/cli/reads/parcel_argument.h"
#include "calseal/cli/shop/stated.h"
#include "calseal/report/job/job_report.h"

namespace calseal {

Result<std::vector<NewController>> load_controllers(const ControllerOptions& options) {
  CALSEAL_ASSIGN(std::vector<LooseFile> files, load_loose_files(options.reads, ""));
  if (options.parcel != nullptr) {
    CALSEAL_ASSIGN(std::vector<NamedParcelRead> reads, reads_of_series(*options.parcel, 1));
    for (NamedParcelRead& read : reads) files.push_back({read.controller, std::move(read.file)});
    if (files.empty())
      return fail(usage_error("READ", "a parcel without a read", "a read of the controller",
                              "give it beside the parcel"));
  }
  CALSEAL_ASSIGN(const RegionMapLibrary library, load_region_maps(options.regions));
  if (library.maps.empty()) {
    if (!library.faulty.empty()) return fail(library.faulty.front());
    return fail(usage_error("--regions", "no region map", "a region map, or a folder with some",
                            "name it; calseal regions draft helps to make one"));
  }
  CALSEAL_ASSIGN(std::vector<SortedRead> sorted, sort_reads(library, files));
  CALSEAL_ASSIGN(const std::vector<OptionFile> ordered, load_options(options.option_files));
  std::vector<NewController> controllers;
  std::vector<std::string> names;
  for (SortedRead& read : sorted) {
    const LibraryMap& map = library.maps[read.map];
    NewController controller;
    controller.read = std::move(read.files);
    controller.region_map = map.map.text;
    controller.region_map_name = map.file;
    controller.as_received = options.as_received;
    for (const OptionFile& option : ordered) {
      if (option.option.controller == map.map.controller) controller.options.push_back(option);
    }
    names.push_back(map.map.controller);
    controllers.push_back(std::move(controller));
  }
  for (const OptionFile& option : ordered) {
    if (std::ranges::find(names, option.option.controller) != names.end()) continue;
    return fail(
        {Reason::kOptionForeign, option.file, "", "an option of " + printable(option.option.controller, 80),
         "an option of a controller that came in", "leave it out, or give that controller's read too"});
  }
  return controllers;
}

std::string made_text(const VehicleJob& job, const MadeJob& made, const Page& page) {
  std::string text;
  for (const OpenedBase& one : made.opened) {
    text += "\n" + one.controller + "\n";
    if (!one.sealed) {
      text += labelled(page, "way back", "not sealed: no key was given", Mark::kCaution);
      continue;
    }
    text += labelled(page, "way back",
                     one.controller + "/" + one.bundle + ", sealed and checked as the customer will") +
            labelled(page, "identity", digest_text(one.sealed->digest));
    for (const std::string& caution : one.sealed->manifest.cautions)
      text += labelled(page, "caution", printable(caution), Mark::kCaution);
  }
  if (!made.handover.empty()) text += handover_text(job, made.handover, page);
  return text + "\n" + next_steps_text(job, page);
}

void add_made(JsonValue& value, const VehicleJob& job, const MadeJob& made) {
  value.members.emplace_back(
      "controllers", json_array(made.opened, [](const OpenedBase& one) {
        return json_object({{"controller", json(one.controller)},
                            {"bundle", json(one.bundle)},
                            {"identity", json(one.sealed ? digest_text(one.sealed->digest) : "")}});
      }));
  value.members.emplace_back("handover", json(made.handover));
  value.members.emplace_back("next", next_steps_json(job));
}

}  // namespace calseal
