// An option derived from two images: what the editor changed, and nothing that calseal sets by itself.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "calseal/map/plan.h"
#include "calseal/option/option_file.h"

namespace calseal {

struct MadeOption {
  Option option;  // name, title, controller, region map, software number and edits; the rest is for people
  // Places that differ and are not part of it: derived, volatile, binding. With a word each.
  std::vector<std::pair<Place, std::string>> left_out;
};

// Splits by region, and by item where the region map names one: whole elements of items, exact bytes
// elsewhere, permitted patches whole. change-locked, change-signed, change-patch: locked bytes that differ
// and are no whole permitted patch. option-invalid: nothing differs that an option may hold.
Result<MadeOption> make_option(const Plan& plan, const Image& base, const Image& edited,
                               const std::string& name, const std::string& title);

}  // namespace calseal
