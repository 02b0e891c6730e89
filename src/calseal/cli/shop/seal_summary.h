// What `calseal seal` says when a bundle is made.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/sign/seal.h"

namespace calseal {

// `output`: where it was written, for people and for programs.
std::string seal_summary(const SealedBundle& sealed, const std::string& output);
JsonValue seal_summary_json(const SealedBundle& sealed, const std::string& output);

}  // namespace calseal
