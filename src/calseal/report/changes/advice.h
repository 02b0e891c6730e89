// What a sound region map leaves open: no faults, but a person should know before relying on it.
#pragma once

#include <string>
#include <vector>

#include "calseal/map/plan.h"

namespace calseal {

struct Advice {
  std::string code;  // stable: "no-recognise-rule", "no-binding-field", "no-erase-sectors",
                     // "editable-unchecked", "guesses-remain", "grade-draft"
  std::string text;
};

// In the order of the codes above. Without a plan (a region map whose tables need an image) nothing is said
// about coverage.
std::vector<Advice> advise(const RegionMap& map, const Plan* plan);

}  // namespace calseal
