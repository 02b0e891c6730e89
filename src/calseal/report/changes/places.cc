#include "calseal/report/changes/places.h"

#include "calseal/base/json_write.h"
#include "calseal/base/text.h"

namespace calseal {

JsonValue place_json(const RegionMap& map, const Place& place) {
  return json_object({{"memory", json(map.memories[place.memory].name)},
                      {"start", json(address_text(place.range.begin))},
                      {"size", json(place.range.size())}});
}

JsonValue region_map_json(const RegionMap& map) {
  return json_object({{"name", json(map.name)},
                      {"title", json(map.title)},
                      {"controller", json(map.controller)},
                      {"version", json(map.version)},
                      {"grade", json(map.grade())},
                      {"digest", json(digest_text(map.digest))}});
}

std::string region_map_words(const RegionMap& map) {
  return map.name + " version " + std::to_string(map.version) + " (" + map.grade() + ")";
}

}  // namespace calseal
