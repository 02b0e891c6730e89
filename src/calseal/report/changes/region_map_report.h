// A region map laid open: everything it declares, with the memories to scale; with an image, what that image
// says.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/map/plan.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// "12 regions, 9 checksums, 2 copies, 1 permitted patch, 3 identity fields"
std::string region_map_counts(const RegionMap& map);
JsonValue region_map_counts_json(const RegionMap& map);

// The image may be missing, and so may the plan where the map's tables need an image.
struct RegionMapView {
  const RegionMap* map = nullptr;
  const Plan* plan = nullptr;
  const Image* image = nullptr;
};

std::string region_map_text(const RegionMapView& view, const Page& page);

// The members of docs/json-output.md, "regions-show/1", as an object.
JsonValue region_map_view_json(const RegionMapView& view);

// "flash 0x80000000-0x800000ff", "bytes a55a", "records of the table at flash 0x80000100", in the order read.
std::vector<std::string> coverage_words(const RegionMap& map, const Checksum& checksum);

}  // namespace calseal
