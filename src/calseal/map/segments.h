// The parts of a memory that exist, as one size, as one set, and as a raw file holds them.
#pragma once

#include "calseal/base/range_set.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

// Bytes of a raw file that holds the memory whole.
std::uint64_t segment_total(const MemoryDeclaration& memory);

// Addresses that exist.
RangeSet segments_of(const MemoryDeclaration& memory);

// The segments' bytes one after another, known or not, as a raw file holds them.
Bytes flat_bytes(const MemoryDeclaration& declared, const Memory& memory);

}  // namespace calseal
