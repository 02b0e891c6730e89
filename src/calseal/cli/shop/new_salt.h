// The random word that keeps binding fields from being guessed out of a manifest.
#pragma once

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

// kSaltSize bytes from the system's generator; kInternal when it has none to give.
Result<Bytes> make_salt();

}  // namespace calseal
