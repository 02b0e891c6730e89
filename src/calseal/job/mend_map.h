// A region map that is mended while a job goes on: revisions after it are proved by the new version, and what
// was sealed before stays as it is.
#pragma once

#include <string>

#include "calseal/base/result.h"
#include "calseal/base/utc_time.h"
#include "calseal/check/open.h"
#include "calseal/job/job.h"
#include "calseal/map/map_diff.h"

namespace calseal {

// The region map by which the next revision of the current base is proved: the newest version that mend_map()
// has kept, else the one that `way_back`, revision 0 of the base, was sealed with. kJobDamaged when the
// version that was noted last is not there as it was noted.
Result<RegionMap> map_in_force(const Job& job, const OpenedBundle& way_back);

struct MendedMap {
  std::string file;  // within the controller's folder
  RegionMap before, after;
  MapDiff diff;  // where it widens, an approval is needed when the next revision is sealed
};

// Keeps `text` as the next version of the current base's map, and notes it. kUsage unless it is of the same
// name and controller, with a higher version; kJobOrder before revision 0 is sealed; the reasons of
// parse_region_map() and believe_base() on the read of the base. `name` is for errors. The caller holds the
// lock.
Result<MendedMap> mend_map(const Job& job, Bytes text, const std::string& name, UtcTime now);

}  // namespace calseal
