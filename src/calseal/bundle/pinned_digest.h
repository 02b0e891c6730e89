// The one digest over all pinned spans of an image.
#pragma once

#include <cstdint>
#include <vector>

#include "calseal/bundle/manifest.h"
#include "calseal/digest/sha256.h"

namespace calseal {

enum class Side : std::uint8_t { kBefore, kAfter };

// SHA-256 over a line "<memory> 0x%08x <decimal length> <64 lower hex>\n" for each span that has a digest on
// this side, in the order given.
Sha256 compute_pinned_digest(const std::vector<ManifestSpan>& spans, Side side);

}  // namespace calseal
