// What is in a revision, and what was ordered, in the shop's words.
#pragma once

#include <vector>

#include "calseal/report/html/markup.h"
#include "calseal/report/revision/windows.h"

namespace calseal {

// The order, option by option, where one is known; otherwise the options alone. `claimed`: nobody vouches for
// the bundle.
Html options_section(const Manifest& manifest, const std::vector<PlacedChange>& changes, bool claimed);

}  // namespace calseal
