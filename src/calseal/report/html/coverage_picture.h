// What a check reads of one memory and where it keeps its value, as a thin strip to scale.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/report/html/markup.h"

namespace calseal {

struct CoveragePicture {
  Range extent;
  std::vector<Range> covered, slots;  // ascending
  std::string spoken;                 // the picture in words
};
// Bounded however many ranges there are.
Html coverage_picture(const CoveragePicture& picture);

}  // namespace calseal
