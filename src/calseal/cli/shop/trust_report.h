// What a trust file says, for people and for programs.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

std::string trust_text(const TrustFile& trust);
JsonValue trust_json(const TrustFile& trust);

}  // namespace calseal
