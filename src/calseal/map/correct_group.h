// Correction of one group of the plan.
#pragma once

#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/plan.h"

namespace calseal {

void put_bytes(Image& image, const Place& place, ByteView bytes);
Bytes take_bytes(const Image& image, const Place& place);

// Sets the derived bytes of a group whose reads are known and whose earlier groups are right. kMapUnsolvable,
// kChecksumFails as correct(); the group's bytes are then in no stated condition.
Status correct_group(const Plan& plan, const PlanGroup& group, Image& image);

}  // namespace calseal
