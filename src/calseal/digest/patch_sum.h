// Sums of words after an edit, from the changed bytes alone.
#pragma once

#include <cstdint>
#include <vector>

#include "calseal/digest/crc.h"
#include "calseal/digest/sum.h"

namespace calseal {

// The sum of a message after changes, from its sum before; reads only the changes, which lie inside the
// message, in any order. Not with an end-around carry, whose zero has two faces. O(changed bytes).
std::uint64_t patch_sum(const SumParameters& sum, std::uint64_t value, const std::vector<CrcChange>& changes);

}  // namespace calseal
