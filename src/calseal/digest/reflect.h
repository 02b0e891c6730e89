// Bits in reverse order, as reflected CRCs have them.
#pragma once

#include <cstdint>

#include "calseal/digest/load.h"

namespace calseal {

// The low `width` bits, 1 to 64, in reverse order.
inline std::uint64_t reflect(std::uint64_t value, int width) {
  value = ((value >> 1) & 0x5555555555555555U) | ((value & 0x5555555555555555U) << 1);
  value = ((value >> 2) & 0x3333333333333333U) | ((value & 0x3333333333333333U) << 2);
  value = ((value >> 4) & 0x0f0f0f0f0f0f0f0fU) | ((value & 0x0f0f0f0f0f0f0f0fU) << 4);
  return detail::swap_bytes(value) >> (64 - width);
}

}  // namespace calseal
