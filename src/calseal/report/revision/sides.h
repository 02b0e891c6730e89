// The image before and after a revision, as far as somebody at hand can know it.
#pragma once

#include <vector>

#include "calseal/check/open.h"
#include "calseal/image/image.h"

namespace calseal {

// `known` holds only bytes that the manifest's digests prove: before, the base; after, the result. So it does
// not matter who supplied them.
struct Sides {
  Image before, after;
};

// After: from the payload. Before: from a revision 0 of the same base among `beside` (or the bundle itself),
// and from `read`, wherever the digest of the span is the base's. What did not change is known on both sides
// as soon as on one.
Sides known_sides(const OpenedBundle& opened, const std::vector<const OpenedBundle*>& beside,
                  const Image* read);

}  // namespace calseal
