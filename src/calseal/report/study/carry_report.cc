#include "calseal/report/study/carry_report.h"

#include <algorithm>

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"
#include "calseal/report/changes/checks_report.h"
#include "calseal/report/changes/places.h"

namespace calseal {
namespace {

std::string moved_words(const CarriedPlace& place) {
  if (!place.moved()) return "stays";
  const auto difference = [](std::uint64_t from, std::uint64_t to) {
    return to >= from ? "+" + hex_number(to - from) : "-" + hex_number(from - to);
  };
  std::string words = place.to.begin == place.from.begin ? "" : difference(place.from.begin, place.to.begin);
  if (place.to.size() != place.from.size())
    words += (words.empty() ? "" : ", ") + ("size " + difference(place.from.size(), place.to.size()));
  return words;
}

JsonValue place_of(const CarriedPlace& place, Range range) {
  return json_object({{"memory", json(place.memory)},
                      {"start", json(address_text(range.begin))},
                      {"size", json(range.size())}});
}

}  // namespace

std::string carry_text(const RegionMap& old_map, const MapCarry& carried, const Page& page) {
  std::string text = labelled(page, "from", region_map_words(old_map));
  if (carried.map) text += labelled(page, "to", region_map_words(*carried.map));
  const auto moved = std::ranges::count_if(carried.places, &CarriedPlace::moved);
  const auto sure = std::ranges::count_if(carried.places, &CarriedPlace::sure);
  text += labelled(page, "places",
                   counted(carried.places.size(), "place", "places") + ", " + std::to_string(moved) +
                       " moved, " + std::to_string(sure) + " sure");
  if (!carried.checks.empty()) text += labelled(page, "checks", checks_summary(carried.checks));
  if (carried.fault)
    text += labelled(page, "NO MAP",
                     "the carried places do not fit together: " + carried.fault->place + ": " +
                         carried.fault->found + "; expected " + carried.fault->expected,
                     Mark::kBad);
  Columns columns;
  for (const CarriedPlace& place : carried.places) {
    if (!place.moved() && place.sure) continue;
    columns.add({{printable(place.what)},
                 {place.memory + " " + range_text(place.to)},
                 {moved_words(place)},
                 {std::string(place_fate_name(place.fate)) + (place.sure ? "" : ", not sure")}});
  }
  if (!columns.empty()) text += "\n" + columns.text(page, 2) + "\n";
  for (const std::string& line : carried.look)
    text += labelled(page, "look at", printable(line, 400), Mark::kCaution);
  if (carried.look.empty() && carried.map)
    text += labelled(page, "result", "every place was found, and every check holds", Mark::kGood);
  return text;
}

JsonValue carry_json(const RegionMap& old_map, const MapCarry& carried) {
  return json_object({{"from", region_map_json(old_map)},
                      {"region_map", carried.map ? region_map_json(*carried.map) : JsonValue{}},
                      {"fault", carried.fault ? json_error(*carried.fault) : JsonValue{}},
                      {"places", json_array(carried.places,
                                            [](const CarriedPlace& place) {
                                              return json_object({{"what", json(place.what)},
                                                                  {"from", place_of(place, place.from)},
                                                                  {"to", place_of(place, place.to)},
                                                                  {"moved", json(place.moved())},
                                                                  {"fate", json(place_fate_name(place.fate))},
                                                                  {"score", json(place.score)},
                                                                  {"sure", json(place.sure)}});
                                            })},
                      {"checks", carried.map ? checks_json(*carried.map, carried.checks) : json_strings({})},
                      {"look", json_strings(carried.look)}});
}

}  // namespace calseal
