#include "calseal/cli/study/map_history_text.h"

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/places.h"

namespace calseal {
namespace {

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

}  // namespace

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

namespace {

std::vector<PolicyChange> became_editable(const MapVersion& version) {
  std::vector<PolicyChange> changes;
  if (version.diff) changes = version.diff->policies;
  std::erase_if(changes, [](const PolicyChange& change) { return change.after != Policy::kEditable; });
  return changes;
}

}  // namespace

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

}  // namespace calseal
