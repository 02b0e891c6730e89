// What a write would touch: erase sectors, bytes and time, against what is in the vehicle now. calseal itself
// never writes to a controller.
#pragma once

#include <cstdint>
#include <vector>

#include "calseal/map/plan.h"

namespace calseal {

// Bytes per second; see docs/plan.md for where these come from.
inline constexpr std::uint64_t kReadRate = 5600;
inline constexpr std::uint64_t kWriteRate = 12000;

struct TouchedSector {
  Place place;
  std::uint64_t changed = 0;         // bytes that differ
  std::uint64_t volatile_bytes = 0;  // learned values and counters in the same sector: erased with it
};

struct WritePlan {
  std::vector<TouchedSector> touched;  // ascending; sectors with at least one changed byte
  std::vector<Place> without_sector;   // changed ranges where the map declares no erase sector
  std::uint64_t changed_bytes = 0;
  std::uint64_t calibration_bytes = 0;  // to transfer: touched sectors whole, and ranges without sector
  std::uint64_t full_bytes = 0;         // all segments of all memories
};

// `now` and `after` have the map's memories; bytes unknown in either do not count as changed.
WritePlan make_write_plan(const Plan& plan, const Image& now, const Image& after);

// Seconds, rounded up; `rate` in bytes per second, at least 1.
std::uint64_t transfer_seconds(std::uint64_t bytes, std::uint64_t rate);

}  // namespace calseal
