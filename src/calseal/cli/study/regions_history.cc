#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/study/map_history_text.h"
#include "calseal/cli/study/study_commands.h"

namespace calseal {
namespace {

struct HistoryOptions {
  std::string folder = ".", name;
};

Result<int> show_history(const HistoryOptions& options, const Console& console) {
  Progress progress(console, 2);
  progress.begin("reading region maps");
  CALSEAL_ASSIGN(const RegionMapLibrary library, load_region_map_library(options.folder));
  progress.begin("comparing versions");
  std::vector<MapHistory> histories = histories_of(library);
  if (!options.name.empty())
    std::erase_if(histories, [&](const MapHistory& history) { return history.name != options.name; });
  progress.end();
  if (histories.empty() && library.faulty.empty()) {
    return fail({Reason::kFileMissing, printable(options.folder), "", "no region map",
                 options.name.empty() ? "region maps, *.json"
                                      : "a region map called \"" + printable(options.name) + "\"",
                 "give the folder that the region maps are kept in"});
  }
  const Page page = page_for(console);
  std::string text;
  bool clean = library.faulty.empty();
  for (const MapHistory& history : histories) {
    text += (text.empty() ? "" : "\n") + history_text(library, history, page);
    clean = clean && history.conflicts.empty();
  }
  for (const Error& error : library.faulty)
    text += labelled(page, "faulty", error.file + ": " + error.place + ": " + error.found, Mark::kBad);
  console.print(text);
  console.print_json(json_object(
      {{"calseal", json("regions-history/1")},
       {"maps",
        json_array(histories, [&](const MapHistory& history) { return history_json(library, history); })},
       {"faulty", json_array(library.faulty, json_error)}}));
  return clean ? 0 : 1;
}

}  // namespace

void add_regions_history_command(CommandLine& app, Console& console, int& status) {
  CommandLine* command = app.subcommand("regions")->add_subcommand(
      "history", "Which text of a region map came after which, and what each step allowed");
  auto options = std::make_shared<HistoryOptions>();
  command->add_option("FOLDER", options->folder, "Folder of region maps (default: this folder)")
      ->takes("FOLDER");
  command->add_option("--name", options->name, "The history of this map alone")->takes("NAME");
  set_command(
      *command, console, {"calseal regions history maps", "calseal regions history maps --name engine-e1"},
      [options](Console& c) { return show_history(*options, c); }, status);
}

}  // namespace calseal
