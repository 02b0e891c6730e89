// Region maps written for people and version control.
#pragma once

#include <string>

#include "calseal/base/json.h"

namespace calseal {

// One section a line, and one element a line within lists; a final line end. Text of a sound map reads back
// the same.
std::string map_text(const JsonValue& map);

}  // namespace calseal
