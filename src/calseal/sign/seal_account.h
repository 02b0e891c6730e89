// What sealing demands of options and calibration items, and what the manifest says of them.
#pragma once

#include <string_view>
#include <vector>

#include "calseal/bundle/changes.h"
#include "calseal/sign/seal.h"

namespace calseal {

// Under these names the manifest keeps the reasons that were stated.
inline constexpr std::string_view kUnaccountedAnnotation = "unaccounted";
inline constexpr std::string_view kLimitAnnotation = "limits";

// Fills options, items and annotations of the manifest, and the option of each change. Nothing for revision
// 0. In this order: option-foreign and the like (an option that does not fit), option-half (a declared option
// is not whole in the result), change-unaccounted and item-limit, each unless a reason is stated; that goes
// into the manifest as an annotation.
Status require_accounted(const SealRequest& request, const Plan& plan, Manifest& manifest,
                         std::vector<Change>& changes);

}  // namespace calseal
