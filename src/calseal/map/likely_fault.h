// What the values of a failing checksum give away about its declaration.
#pragma once

#include <string>

#include "calseal/map/verify.h"

namespace calseal {

// "byte order?", "complement?" or both, where the stored bytes are the computed ones but for that; else
// empty.
std::string likely_fault(const CheckOutcome& outcome);

}  // namespace calseal
