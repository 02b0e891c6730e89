// What becomes of a set when members of it are sent.
#pragma once

#include <cstdint>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/job/send.h"

namespace calseal {

enum class SetChoice : std::uint8_t {
  kNotSaid,  // an error where it must be said
  kRenew,    // the other members are sealed again, unchanged, and all are a new set
  kLeave,    // what is sent is valid alone
};

// Adds the other members of the sets that the requests' controllers are in now; without any request, every
// controller whose newest revision is in a set. A set names the bytes of its members, so it cannot be kept
// when one of them changes: kUsage when members would be left and nothing was said.
Status add_partners(const VehicleJob& job, SetChoice choice, std::vector<SendRequest>& requests);

}  // namespace calseal
