// The revisions of a job as a line.
#pragma once

#include <vector>

#include "calseal/check/open.h"
#include "calseal/report/html/markup.h"

namespace calseal {

// `opened` among the bundles at hand, by sequence; ancestors that are named but not at hand are said to be
// missing. What stands on what is sealed: a parent is named by the digest of its manifest.
Html revision_line(const OpenedBundle& opened, const std::vector<const OpenedBundle*>& beside);

}  // namespace calseal
