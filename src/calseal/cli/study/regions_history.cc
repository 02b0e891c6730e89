#include <algorithm>
#include <memory>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/cli/console/command_line.h"
#include "calseal/cli/console/progress.h"
#include "calseal/cli/image/page_for.h"
#include "calseal/cli/study/study_commands.h"
#include "calseal/report/changes/places.h"
#include "calseal/report/layout/page.h"
#include "calseal/study/map_history.h"

namespace calseal {
namespace {

struct HistoryOptions {
  std::string folder = ".", name;
};

constexpr std::size_t kShown = 12;  // lines of one step

// What a step allows that was not allowed before it, and what it no longer allows.
std::string step_text(const MapDiff& diff, const Page& page) {
  Columns rows;
  std::size_t left = 0;
  const auto add = [&](bool widens, std::string what, std::string how) {
    if (left++ < kShown) {
      rows.add({{widens ? "WIDENS" : "", widens ? Mark::kBad : Mark::kPlain},
                {std::move(what)},
                {std::move(how)}});
    }
  };
  for (const PolicyChange& change : diff.policies) {
    add(change.widens, change.memory + " " + range_text(change.range),
        change.after == Policy::kEditable
            ? "became editable, was " + std::string(policy_name(change.before))
            : std::string(policy_name(change.before)) + " -> " + std::string(policy_name(change.after)));
  }
  for (const DeclarationChange& change : diff.declarations) {
    add(change.widens, std::string(declaration_kind_name(change.kind)) + " " + printable(change.name),
        std::string(declaration_how_name(change.how)));
  }
  std::string text = rows.empty() ? "" : rows.text(page, 6);
  if (left > kShown)
    text += "      and " + std::to_string(left - kShown) + " more: see calseal regions diff\n";
  return text;
}

std::string history_text(const RegionMapLibrary& library, const MapHistory& history, const Page& page) {
  std::string text = "region map " + history.name + "\n";
  for (const MapVersion& version : history.versions) {
    const LibraryMap& map = library.maps[version.map];
    std::string file = map.file;
    for (const std::string& other : version.also_as) file += ", " + other;
    text += labelled(page, "version " + std::to_string(map.map.version),
                     map.map.grade() + ", " + digest_text(map.map.digest).substr(0, 16) + ", " + file);
    if (!version.before) continue;
    const LibraryMap& before = library.maps[*version.before];
    const bool widens = version.diff->widens;
    text += labelled(page, "",
                     std::string(version.declared ? "succeeds " : "follows by number ") +
                         (before.map.name == map.map.name ? "" : before.map.name + " ") + "version " +
                         std::to_string(before.map.version) + ", " +
                         digest_text(before.map.digest).substr(0, 16) +
                         (widens ? ": WIDENS what may change, or verifies less" : ": widens nothing"),
                     widens ? Mark::kBad : Mark::kGood);
    text += step_text(*version.diff, page);
  }
  for (const std::string& conflict : history.conflicts)
    text += labelled(page, "conflict", conflict, Mark::kBad);
  return text;
}

std::vector<PolicyChange> became_editable(const MapVersion& version) {
  std::vector<PolicyChange> changes;
  if (version.diff) changes = version.diff->policies;
  std::erase_if(changes, [](const PolicyChange& change) { return change.after != Policy::kEditable; });
  return changes;
}

JsonValue history_json(const RegionMapLibrary& library, const MapHistory& history) {
  return json_object(
      {{"name", json(history.name)},
       {"versions",
        json_array(
            history.versions,
            [&](const MapVersion& version) {
              const LibraryMap& map = library.maps[version.map];
              std::vector<std::string> files{map.file};
              files.insert(files.end(), version.also_as.begin(), version.also_as.end());
              return json_object(
                  {{"region_map", region_map_json(map.map)},
                   {"files", json_strings(files)},
                   {"before", json(version.before ? digest_text(library.maps[*version.before].map.digest)
                                                  : std::string())},
                   {"declared", json(version.declared)},
                   {"widens", json(version.diff && version.diff->widens)},
                   {"became_editable", json_array(became_editable(version), [](const PolicyChange& change) {
                      return json_object({{"memory", json(change.memory)},
                                          {"start", json(address_text(change.range.begin))},
                                          {"size", json(change.range.size())},
                                          {"before", json(policy_name(change.before))},
                                          {"after", json(policy_name(change.after))}});
                    })}});
            })},
       {"conflicts", json_strings(history.conflicts)}});
}

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
  command->add_option("FOLDER", options->folder, "Folder of region maps (default: this folder)");
  command->add_option("--name", options->name, "The history of this map alone");
  set_command(
      *command, console, {"calseal regions history maps", "calseal regions history maps --name engine-e1"},
      [options](Console& c) { return show_history(*options, c); }, status);
}

}  // namespace calseal
