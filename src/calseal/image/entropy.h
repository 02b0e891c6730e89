// How random bytes look.
#pragma once

#include "calseal/base/bytes.h"

namespace calseal {

// Shannon entropy in bits per byte, 0 to 8, of the histogram of `bytes`; 0 for none.
double entropy(ByteView bytes);

// Most blocks of 4 KiB that are not blank look random (entropy above 7.9 bits per byte): encrypted or
// compressed as a whole. At least four such blocks.
bool looks_opaque(ByteView bytes);

}  // namespace calseal
