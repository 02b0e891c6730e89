// Cautions that every judgement of a bundle can give.
#pragma once

#include <string>
#include <vector>

#include "calseal/bundle/manifest.h"
#include "calseal/check/verdict.h"
#include "calseal/map/region_map.h"

namespace calseal {

Caution root_not_confirmed(const std::string& fingerprint);
Caution map_is_draft(const RegionMap& map);

// What a manifest and its region map say that a person must know before he acts on it. The sealing side
// writes the texts among the manifest's cautions; the checking side makes them anew, from claims that it
// proves. In this order, each at most once:
//   base-partial         the base's read does not hold all memories: nothing is proved about the rest
//   checks-not-provable  checksums that read such bytes
//   vehicle-not-read     no binding field is in the base's read: it cannot tell the vehicle
//   received-failing     revision 0: checksums that did not hold in the read, and will not in the result
//   verification-number  the calibration verification number before and after
// Texts are lines as a manifest takes them.
std::vector<Caution> cautions_of(const Manifest& manifest, const RegionMap& map);

}  // namespace calseal
