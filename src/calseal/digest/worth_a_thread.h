// When a second thread pays for itself.
#pragma once

#include <cstddef>

namespace calseal {

// Bytes to hash. A thread takes some 50 microseconds to start and end, in which one core hashes some 80 KiB.
inline constexpr std::size_t kWorthAThread = std::size_t{512} << 10;

}  // namespace calseal
