// One wrong byte found by a failing CRC: what the stored value and the computed one differ by is the effect
// of an error, and an error of one byte has one place.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "calseal/image/image.h"
#include "calseal/map/plan.h"

namespace calseal {

struct OneByte {
  std::size_t memory = 0;
  std::uint64_t address = 0;
  std::uint8_t right = 0;  // with this value there the checksum holds
  double chance = 1;       // expected number of such places in damage of any other kind
};

// More than these and a place says nothing: of one wrong bit, and of a byte with several.
inline constexpr double kOneBitChance = 1e-3;
inline constexpr double kOneByteChance = 1e-4;

// The only byte of the message that, put otherwise, makes a failing CRC hold: first by one bit, then, where
// the message is short enough for the CRC's width, by any. Nothing when there is none or more than one, when
// its chance is above these, or when the node is not a CRC whose whole value stands in one slot or
// rule. O(message).
std::optional<OneByte> find_one_byte(const Plan& plan, const PlanNode& node, const Image& image);

// Every byte of the message that, put otherwise by one bit, makes a failing CRC hold; `chance` is not filled
// in. Nothing when there are more than `most`, or when the node is no CRC whose whole value stands in one
// place.
std::vector<OneByte> bits_pointed_to(const Plan& plan, const PlanNode& node, const Image& image,
                                     std::size_t most);

}  // namespace calseal
