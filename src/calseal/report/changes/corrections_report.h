// What a correction did, for people and for programs.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/map/correct.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// Bytes of a place that JSON lists; longer ones (copies) are cut, their size tells.
inline constexpr std::size_t kListedBytes = 64;

// One row each in the order corrected, or "nothing to correct"; then what was left alone.
std::string corrections_text(const RegionMap& map, const CorrectionReport& report, const Page& page);

// A list; docs/json-output.md, "correction".
JsonValue corrections_json(const RegionMap& map, const CorrectionReport& report);

}  // namespace calseal
