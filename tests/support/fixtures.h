#pragma once

#include <string>

namespace calseal {

/// The folder `fixtures` of the source tree, without a final slash. Compiled once, so that no other object
/// depends on where the tree lies.
const std::string& fixtures();

}  // namespace calseal
