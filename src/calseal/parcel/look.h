// What a parcel's maker sees in a read, from its bytes alone, and tells the customer while he is still beside
// the vehicle. Nothing is refused for it. docs/parcel.md, "Looking at the reads".
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/parcel/parcel.h"
#include "calseal/trust/sheet.h"

namespace calseal {

// What a code says, in words for a customer. Empty for one that is not ours: a later maker's.
std::string_view look_words(std::string_view code);

// Codes for each read, in the order of reads, ascending for one read. `contents` are the files of `reads`, as
// many. `sheet`: nullptr where there is none. Linear in the bytes, but for a file of repetitions, which is
// compared with itself up to 63 times.
std::vector<ParcelFinding> look_at_reads(const std::vector<ParcelRead>& reads,
                                         const std::vector<ByteView>& contents, const Sheet* sheet);

}  // namespace calseal
