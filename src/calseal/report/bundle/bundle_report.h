// What a bundle claims, opened without looking at a signature. Says so first and last: nothing here was
// verified.
#pragma once

#include <string>

#include "calseal/base/json.h"
#include "calseal/check/open.h"
#include "calseal/report/layout/page.h"

namespace calseal {

// The sentence that begins and ends the report.
inline constexpr std::string_view kNotVerified =
    "not verified: this says what the file claims, not that it is true";

std::string bundle_text(const OpenedBundle& opened, const Page& page);

// {"calseal":"show/1", ...}; docs/json-output.md.
JsonValue bundle_json(const OpenedBundle& opened);

// The manifest's bytes as they stand in the file; their SHA-256 is the revision's identity.
std::string_view raw_manifest(const OpenedBundle& opened);

}  // namespace calseal
