// The bytes of changed ranges before and after, one above the other, with a mark under each that differs.
#pragma once

#include <string>
#include <vector>

#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

// A changed range and the line that names it, with its line end.
struct ExcerptRange {
  Place place;
  std::string line;
};

// Rows of 16 bytes on 16-byte boundaries, under the lines of their ranges (ascending); at most four for each
// range, then a line that says how many bytes were left out. Ranges that share a row stand above one excerpt,
// so no row is shown twice.
std::string hex_excerpt_rows(const std::vector<ExcerptRange>& ranges, const Image& before,
                             const Image& after);

}  // namespace calseal
