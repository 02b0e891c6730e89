// Says on a terminal how far the reading of an archive is, once it takes more than a second.
#pragma once

#include <cstdint>
#include <functional>

namespace calseal {

// Nothing when stderr is no terminal.
std::function<void(std::uint64_t, std::uint64_t)> reading_progress();

}  // namespace calseal
