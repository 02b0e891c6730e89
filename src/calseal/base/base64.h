// Base64 (RFC 4648 section 4), writing only.
#pragma once

#include <string>

#include "calseal/base/bytes.h"

namespace calseal {

// With padding, without line ends.
std::string to_base64(ByteView bytes);

}  // namespace calseal
