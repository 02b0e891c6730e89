// Names in a question that nothing in the archive has.
#pragma once

#include <vector>

#include "calseal/query/criterion.h"
#include "calseal/query/index.h"

namespace calseal {

// kUsage, with the nearest names, where a criterion names a memory, region, item, option, software number,
// job, controller or vehicle that no revision of the archive and none of its region maps knows. Ask it when
// nothing was found: it may open a bundle for each region map. Where bundles could not be read, nothing is
// certain, and every name passes.
Status judge_words(const Index& index, const std::vector<Criterion>& criteria);

}  // namespace calseal
