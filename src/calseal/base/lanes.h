// Sixteen bytes at a time, in vector types that GCC and Clang have on every processor: for the few loops that
// no library runs for us.
#pragma once

#include <cstdint>
#include <cstring>

namespace calseal::lanes {

inline constexpr std::size_t kSize = 16;  // bytes

using U8 = std::uint8_t __attribute__((vector_size(kSize)));
using U16 = std::uint16_t __attribute__((vector_size(kSize)));
using U32 = std::uint32_t __attribute__((vector_size(kSize)));
using U64 = std::uint64_t __attribute__((vector_size(kSize)));

// kSize bytes at any alignment, in the processor's own byte order.
template <typename Lanes>
Lanes load(const std::uint8_t* at) {
  Lanes lanes;
  std::memcpy(&lanes, at, kSize);
  return lanes;
}

}  // namespace calseal::lanes
