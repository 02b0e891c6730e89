// The bytes of a changed range before and after, one above the other, with a mark under each that differs.
#pragma once

#include <string>

#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

// Rows of 16 bytes on 16-byte boundaries; at most `rows` of them, then a line that says how many bytes were
// left out.
std::string hex_excerpt_rows(const Place& place, const Image& before, const Image& after,
                             std::size_t rows = 4);

}  // namespace calseal
