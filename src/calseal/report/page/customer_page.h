// The customer's page: one HTML file with a checker of its own, for one shop. docs/page.md.
#pragma once

#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// `trust` is what `trust_file` holds, verified; `sheet` is the shop's sheet, empty where it has none. The
// same inputs give the same bytes. The page's Content-Security-Policy names the digests of its script and
// style, and allows nothing else.
std::string customer_page(ByteView trust_file, const TrustFile& trust, ByteView sheet, std::string_view tool);

}  // namespace calseal
