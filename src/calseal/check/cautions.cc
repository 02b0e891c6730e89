#include "calseal/check/cautions.h"

namespace calseal {

Caution root_not_confirmed(const std::string& fingerprint) {
  return {"root-not-confirmed", "compare the fingerprint with the shop by voice: " + fingerprint};
}

Caution map_is_draft(const RegionMap& map) {
  return {"map-draft", "the region map " + map.name + " is graded draft: it is believed, not verified"};
}

}  // namespace calseal
