// Where the bytes of a bundle's payload belong.
#pragma once

#include <vector>

#include "calseal/base/range_set.h"
#include "calseal/check/open.h"
#include "calseal/image/image.h"

namespace calseal {

// The image that a full payload of revision 0 carries.
Image image_of_base(const OpenedBundle& opened);
// The same, and it holds no more than the payload does, whatever the map declares.
Image carried_image(const OpenedBundle& opened);

// Lays the payload over an image: all of it, or what lies in `only` (one set per memory).
void lay_payload(const OpenedBundle& opened, Image& image, const std::vector<RangeSet>* only = nullptr);

// What the payload carries of a range; empty where it has not the whole range in one piece.
ByteView carried_bytes(const OpenedBundle& opened, const NamedRange& place);

}  // namespace calseal
