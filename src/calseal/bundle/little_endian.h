// Little-endian integers of ZIP records.
#pragma once

#include <cstdint>

#include "calseal/base/bytes.h"

namespace calseal {

// The 32-bit value at `at`, which must be inside `bytes` whole.
inline std::uint32_t load_u32(ByteView bytes, std::uint64_t at) {
  std::uint32_t value = 0;
  for (int i = 3; i >= 0; --i) value = value << 8 | bytes[at + static_cast<std::uint64_t>(i)];
  return value;
}

// Appends the low `count` bytes of `value`.
inline void append_little(Bytes& out, std::uint64_t value, int count) {
  for (int i = 0; i < count; ++i) out.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
}

}  // namespace calseal
