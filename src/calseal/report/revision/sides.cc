#include "calseal/report/revision/sides.h"

#include <algorithm>

#include "calseal/check/payload.h"
#include "calseal/digest/sha256.h"
#include "calseal/map/read.h"

namespace calseal {
namespace {

// Copies a span whose bytes have this digest.
void take(const Image& from, Image& into, std::size_t memory, const Range& range, const Sha256& digest) {
  if (memory >= from.memories.size()) return;
  const Memory& source = from.memories[memory];
  if (!source.extent.contains(range) || !source.knows(range)) return;
  const ByteView bytes = source.view(range);
  if (compute_sha256(bytes) != digest) return;
  std::ranges::copy(bytes, into.memories[memory].span(range).begin());
  into.memories[memory].known.add(range);
}

// A span of which the payload carries only parts, permitted patches: the base with these laid over it.
void take_patched(const Image& before, const Image& carried, Image& after, std::size_t memory,
                  const Range& range, const Sha256& digest) {
  if (!before.memories[memory].knows(range)) return;
  const ByteView base = before.memories[memory].view(range);
  Bytes bytes(base.begin(), base.end());
  for (const Range& part : carried.memories[memory].known.within(range).ranges()) {
    std::ranges::copy(carried.memories[memory].view(part),
                      bytes.begin() + static_cast<std::ptrdiff_t>(part.begin - range.begin));
  }
  if (compute_sha256(bytes) != digest) return;
  std::ranges::copy(bytes, after.memories[memory].span(range).begin());
  after.memories[memory].known.add(range);
}

bool is_way_back(const OpenedBundle& bundle, const OpenedBundle& of) {
  const Manifest& manifest = bundle.manifest;
  return manifest.revision == 0 && manifest.base_number == of.manifest.base_number &&
         manifest.controller().map_digest == of.manifest.controller().map_digest;
}

}  // namespace

Sides known_sides(const OpenedBundle& opened, const std::vector<const OpenedBundle*>& beside,
                  const Image* read) {
  Image carried = blank_image(opened.map);
  lay_payload(opened, carried);
  std::vector<Image> bases;
  if (opened.manifest.revision == 0) bases.push_back(carried);
  for (const OpenedBundle* other : beside) {
    if (is_way_back(*other, opened)) bases.push_back(image_of_base(*other));
  }
  Sides sides{blank_image(opened.map), blank_image(opened.map)};
  for (const ManifestSpan& span : opened.manifest.controller().spans) {
    if (!span.before || !span.after) continue;
    const std::size_t memory = opened.map.memory_index(span.place.memory);
    const Range& range = span.place.range;
    take(carried, sides.after, memory, range, *span.after);
    for (const Image& base : bases) take(base, sides.before, memory, range, *span.before);
    if (read != nullptr && !sides.before.memories[memory].knows(range))
      take(*read, sides.before, memory, range, *span.before);
    if (span.before != span.after) {
      if (!sides.after.memories[memory].knows(range))
        take_patched(sides.before, carried, sides.after, memory, range, *span.after);
      continue;
    }
    take(sides.before, sides.after, memory, range, *span.after);
    take(sides.after, sides.before, memory, range, *span.before);
  }
  return sides;
}

}  // namespace calseal
