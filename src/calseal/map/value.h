// The arithmetic of one checksum: value over its message, finished result, and the bytes that its slots
// should hold.
#pragma once

#include <cstdint>

#include "calseal/base/bytes.h"
#include "calseal/digest/sha256.h"
#include "calseal/image/image.h"
#include "calseal/map/plan.h"
#include "calseal/map/region_map.h"

namespace calseal {

// A number of up to 64 bits, or a SHA-256 digest where the algorithm is one.
struct CheckValue {
  std::uint64_t number = 0;
  Sha256 digest;
};

// The algorithm of a checksum's node over its message, before complement, addend and cut. Unknown bytes count
// as the fill: ask is_known() first.
CheckValue compute_value(const Plan& plan, const PlanNode& node, const Image& image);

// low `bits` of (complement(value) + add); a digest passes unchanged.
CheckValue finish_value(const Checksum& checksum, const CheckValue& value);

// The low `checksum.bits` bits that the value must have so that the finished result is `result`.
std::uint64_t unfinish_number(const Checksum& checksum, std::uint64_t result);

// What `slot` holds when the result is `result`; as many bytes as the slot.
Bytes encode_slot(const Algorithm& algorithm, const Slot& slot, const CheckValue& result);

// A number as a word of `size` bytes (1 to 8) in either order, and back.
Bytes encode_word(std::uint64_t number, std::size_t size, ByteOrder order);
std::uint64_t decode_word(ByteView bytes, ByteOrder order);

}  // namespace calseal
