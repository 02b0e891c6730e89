// A known stock in place of a read that cannot be built on, bound to the vehicle that the read is from.
#pragma once

#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/region_map.h"

namespace calseal {

// The stock with everything that belongs to the vehicle taken from the read: volatile bytes, binding fields,
// and bytes that the stock does not know; floating slots are corrected for them. Both have the map's
// memories, and the result knows what the read knows.
//
// kMapNotBelieved and the reasons of recognise_family() when the map does not hold on the stock;
// kIdentityMismatch when the two have no software number or not the same; kReadIncomplete when the read lacks
// a byte of the vehicle that the stock has; kMapNotBelieved when a check does not hold on the result, which
// is one that reads bytes of the read alone.
Result<Image> base_from_stock(const RegionMap& map, const Image& stock, const Image& read);

}  // namespace calseal
