// A region map for another software number of its family: what moved, what holds, what to look at.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"
#include "calseal/map/verify.h"

namespace calseal {

// How a place was told.
enum class PlaceFate : std::uint8_t {
  kFound,       // both ends were found by the bytes around them, moved alike
  kOneEnd,      // one end only
  kNeighbours,  // neither, but what stands before and behind it moved alike
  kChecked,     // a checksum or copy holds there, or one that begins and ends with it
  kAssumed,     // nothing was found: left where it was
  kUnequal      // both ends were found, moved differently: its size changed
};
std::string_view place_fate_name(PlaceFate fate);  // "found", "one-end", ...

struct CarriedPlace {
  std::string what;  // "regions calibration", "checksums block, coverage"
  std::string memory;
  Range from, to;  // addresses; a repetition as a whole
  PlaceFate fate = PlaceFate::kAssumed;
  std::uint64_t score = 0;  // thousandths, of the better end
  bool sure = false;        // found or checked, and nothing says that it may be chance; else it is in `look`
  bool moved() const { return from != to; }
};

struct MapCarry {
  std::vector<CarriedPlace> places;  // in the order of the map's text; without elements that were left out
  std::vector<std::string> look;     // what a person must look at, most important first
  std::vector<CheckOutcome> checks;  // of the new map on the new image
  std::optional<RegionMap> map;      // nothing when the carried places do not fit together
  std::optional<Error> fault;        // then why
  Bytes text;                        // of the new map
};

// `base` is an image of the old software number, `image` one of the new; both have the map's memories.
// Places are found by the bytes around them, and checksums and copies by their values (checksum_places.h); a
// region that begins and ends with a checksum that holds lies where that does. Places of slots are sure by
// their values alone, since one table of slots looks like another. Without a base nothing is looked for: all
// stays where it was, and checksums, recognition and identity say what holds. Memories, forms and erase
// sectors belong to the hardware and stay. The new map is a draft, named `name`; patches and recognised bytes
// that do not stand in `image`, and elements whose uncertain places collide with others, are left out and
// named. Errors: those of make_plan() on the base.
Result<MapCarry> carry_region_map(const RegionMap& map, const Image* base, const Image& image,
                                  const std::string& name);

}  // namespace calseal
