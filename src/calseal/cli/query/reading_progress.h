// How far the reading of an archive is, as the index tells it.
#pragma once

#include <cstdint>
#include <functional>

#include "calseal/cli/console/progress.h"

namespace calseal {

// `progress` must outlive it.
std::function<void(std::uint64_t, std::uint64_t)> reading_progress(Progress& progress);

}  // namespace calseal
