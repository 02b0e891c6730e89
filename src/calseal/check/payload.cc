#include "calseal/check/payload.h"

#include <algorithm>

namespace calseal {

void lay_payload(const OpenedBundle& opened, Image& image, const std::vector<RangeSet>* only) {
  const std::vector<PayloadPart>& parts = opened.manifest.controller().payload;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const std::size_t index = opened.map.memory_index(parts[i].memory);
    Memory& memory = image.memories[index];
    const RangeSet carried = RangeSet::of(parts[i].ranges);
    const RangeSet laid = only == nullptr ? carried : carried.intersect((*only)[index]);
    memory.hold(laid, opened.map.memories[index].fill);
    ByteView rest = opened.payload[i];
    for (const Range& range : parts[i].ranges) {
      for (const Range& part : laid.within(range).ranges()) {
        const ByteView bytes = rest.subspan(static_cast<std::size_t>(part.begin - range.begin),
                                            static_cast<std::size_t>(part.size()));
        std::ranges::copy(bytes, memory.span(part).begin());
      }
      rest = rest.subspan(static_cast<std::size_t>(range.size()));
    }
    memory.known.add(laid);
  }
}

ByteView carried_bytes(const OpenedBundle& opened, const NamedRange& place) {
  const std::vector<PayloadPart>& parts = opened.manifest.controller().payload;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    if (parts[i].memory != place.memory) continue;
    std::uint64_t at = 0;
    for (const Range& range : parts[i].ranges) {
      if (range.contains(place.range)) {
        return ByteView(opened.payload[i])
            .subspan(static_cast<std::size_t>(at + (place.range.begin - range.begin)),
                     static_cast<std::size_t>(place.range.size()));
      }
      at += range.size();
    }
  }
  return {};
}

Image carried_image(const OpenedBundle& opened) {
  Image image;
  for (const MemoryDeclaration& memory : opened.map.memories)
    image.memories.push_back(make_unread_memory(memory.name, memory.extent));
  lay_payload(opened, image);
  return image;
}

Image image_of_base(const OpenedBundle& opened) {
  Image image = carried_image(opened);
  for (std::size_t m = 0; m < image.memories.size(); ++m)
    image.memories[m].hold_all(opened.map.memories[m].fill);
  return image;
}

}  // namespace calseal
