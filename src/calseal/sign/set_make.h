// A set from the revisions that belong together: what every member's bundle will embed.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/set_descriptor.h"

namespace calseal {

// From 2 to kSetMemberLimit manifests of one job and vehicle, each of another controller (kSetMismatch).
// Nothing of a member that the set binds depends on the set itself, so bundles sealed without it can be
// described, and then be sealed again with it. `write_order`: each controller once; empty: in the order
// given. kUsage.
Result<SetDescriptor> make_set(const std::vector<Manifest>& members, std::vector<std::string> write_order,
                               bool drivable_between);

}  // namespace calseal
