// What `calseal regions lint` finds out about one region map.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "calseal/base/json.h"
#include "calseal/map/read.h"
#include "calseal/map/verify.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// Whatever stays empty was not reached.
struct MapFinding {
  std::string file;
  std::optional<Error> fault;
  std::optional<RegionMap> map;
  std::optional<Plan> plan;
  std::vector<CheckOutcome> checks;  // with an image
  std::optional<Sha256> pinned;      // digest of an image that the map holds on: for "verified_on"
};

// Reads the map at `path` and judges it, on the image where files of one are given; `name` is the image's.
Status judge_map(MapFinding& finding, const std::string& path, const std::vector<ReadFile>& files,
                 const std::string& name);

std::string finding_text(const MapFinding& finding, bool with_image, const Page& page);
JsonValue finding_json(const MapFinding& finding, bool with_image);

}  // namespace calseal
