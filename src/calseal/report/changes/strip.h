// The memories of a region map as lines of signs, widths to scale.
#pragma once

#include <string>

#include "calseal/image/image.h"
#include "calseal/map/plan.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// The strip of layout/strip.h. With an image, unknown bytes have a sign of their own. `plan` may be one of
// declared_plan().
std::string memory_strip(const Plan& plan, std::size_t memory, const Image* image, const Page& page,
                         const RangeSet& changed = {});

// A plan that knows who owns derived bytes but nothing about coverage, so that kinds can be shown without an
// image: nothing floats in it. Not for correction or proof.
Plan declared_plan(const RegionMap& map);

}  // namespace calseal
