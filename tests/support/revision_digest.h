// Identities of revisions that exist nowhere: 32 bytes of one value.
#pragma once

#include <cstdint>

#include "calseal/digest/sha256.h"

namespace calseal {

inline Sha256 revision(std::uint8_t value) {
  Sha256 digest;
  digest.bytes.fill(value);
  return digest;
}

}  // namespace calseal
