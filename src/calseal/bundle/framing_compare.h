// One literal part of a bundle's framing against what stands in its place.
#pragma once

#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

// `found`: the bytes at offset `at` of the file, as many as `expected` has, fewer where the file ends.
// kFramingDamaged with the offset of the first that differs.
Status compare_framing(ByteView found, std::uint64_t at, ByteView expected, const std::string& what,
                       const std::string& name);
// kFramingDamaged: bytes behind the end.
tl::unexpected<Error> framing_goes_on(std::uint64_t total_size, const std::string& name);

}  // namespace calseal
