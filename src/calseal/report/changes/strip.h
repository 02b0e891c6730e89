// A memory as one line of signs, widths to scale.
#pragma once

#include <string>

#include "calseal/image/image.h"
#include "calseal/map/plan.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// Two lines: name, extent and scale; then the signs. Each sign stands for an equal share of the memory and
// shows the largest kind in it that is not locked, if that is at least a sixteenth of the share; else locked,
// unknown or no memory, whichever is most. Small places may not show, so the strip never stands in for the
// table. With an image, unknown bytes have a sign of their own. `plan` may be one of declared_plan().
std::string memory_strip(const Plan& plan, std::size_t memory, const Image* image, const Page& page);

// What the signs mean, as one line.
std::string strip_legend(const Page& page);

// A plan that knows who owns derived bytes but nothing about coverage, so that kinds can be shown without an
// image: nothing floats in it. Not for correction or proof.
Plan declared_plan(const RegionMap& map);

}  // namespace calseal
