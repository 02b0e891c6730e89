#include "calseal/report/revision/bundle_ground.h"

#include <algorithm>
#include <iterator>

namespace calseal {

PictureGround ground_of(const OpenedBundle& opened) {
  PictureGround ground{&opened.map, {}, "calseal show --json"};
  const ManifestController& controller = opened.manifest.controller();
  for (const MemoryDeclaration& memory : opened.map.memories) {
    std::vector<PicturePiece>& pieces = ground.pieces.emplace_back();
    const auto declared = std::ranges::find(controller.memories, memory.name, &ManifestMemory::name);
    if (declared == controller.memories.end()) continue;
    for (const ManifestSpan& span : controller.spans) {
      if (span.place.memory != memory.name) continue;
      // A span is known whole or not at all: its first byte tells.
      const auto after = std::ranges::upper_bound(declared->known, span.place.range.begin, {}, &Range::begin);
      const bool known =
          after != declared->known.begin() && std::prev(after)->contains(span.place.range.begin);
      pieces.push_back({span.place.range, span.kind, known});
    }
  }
  return ground;
}

}  // namespace calseal
