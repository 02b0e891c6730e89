// One wrong bit found by all failing checks together: each alone may be too short to say where it is.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "calseal/image/image.h"
#include "calseal/map/plan.h"
#include "calseal/map/verify.h"

namespace calseal {

struct OneBit {
  std::size_t memory = 0;
  std::uint64_t address = 0;
  std::uint8_t right = 0;  // with this value there every check holds that failed
  double chance = 1;       // expected number of such places in damage of any other kind
};

// The only bit that, turned over, makes every failing check hold and leaves the others holding. Nothing when
// there is none or more than one, when no failing check is a CRC, or when damage of any other kind would look
// so in more than kOneBitChance reads. O(message) and one round of checks for each bit that one CRC points
// to.
std::optional<OneBit> find_one_bit(const Plan& plan, const Image& image,
                                   const std::vector<CheckOutcome>& checks);

}  // namespace calseal
