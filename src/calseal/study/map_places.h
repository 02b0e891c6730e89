// The places that a region map's text names, so that they can be given other addresses while notes,
// repetitions and everything else stay as they were written.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/map/region_map.h"

namespace calseal {

struct MapPlace {
  std::string what;         // "regions calibration", "checksums block, coverage"
  std::string section;      // "regions", "checksums", ...
  std::size_t element = 0;  // of its section's list
  std::string role;         // the element's member that holds it ("coverage", "slots", ...); empty: itself
  std::size_t memory = 0;
  Range range;                   // a repetition as a whole
  bool repeats = false;          // `count` or `repeat` moves it along
  JsonValue* address = nullptr;  // the member "start" or "at"
  JsonValue* size = nullptr;     // the member "size", where it has one
};

// In the order of the text, whose tree `map` was parsed from; erase sectors and forms are left out, since
// they belong to the hardware and to tools. Pointers lead into `tree`.
std::vector<MapPlace> places_of_text(JsonValue& tree, const RegionMap& map);

// Its list in the tree; nothing where the map has no such section.
JsonValue* section_of_text(JsonValue& tree, std::string_view section);
JsonValue* member_of(JsonValue& object, std::string_view key);

// "block", or "all 0" for an element of the recognition rule.
std::string element_name(JsonValue& tree, std::string_view section, std::size_t element);

}  // namespace calseal
