// Names under which the files of a parcel are kept: made from what it says of each, never taken from it.
#pragma once

#include <string>
#include <vector>

#include "calseal/parcel/parcel.h"

namespace calseal {

// For each entry of parcel.entries, in their order: "1-engine-flash.bin", "2-engine-flash-again-2.bin",
// "3.bin", "log-1.csv". Different, and plain on any file system.
std::vector<std::string> unpacked_names(const Parcel& parcel);

}  // namespace calseal
