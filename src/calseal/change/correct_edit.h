// An edited image corrected, and proved against the first read where there is one.
#pragma once

#include <optional>
#include <string>

#include "calseal/change/confine.h"
#include "calseal/map/correct.h"

namespace calseal {

struct CorrectedEdit {
  Plan plan;
  CorrectionReport report;
  std::optional<Confinement> proof;  // with a base
};

// Corrects `edited` in place. With a base the map must hold on it, and the proof comes with the result,
// whatever it says; without one it is enough that the software family is recognised. Names are for errors.
Result<CorrectedEdit> correct_edit(const RegionMap& map, Image& edited, const std::string& edited_name,
                                   const Image* base, const std::string& base_name);

// Believed means more than holding: correction must find nothing to do. kMapNotBelieved.
Status require_fixed_point(const Plan& plan, Image image);

}  // namespace calseal
