#include "calseal/check/payload.h"

#include <algorithm>

namespace calseal {

void lay_payload(const OpenedBundle& opened, Image& image, const std::vector<RangeSet>* only) {
  const std::vector<PayloadPart>& parts = opened.manifest.controller().payload;
  for (std::size_t i = 0; i < parts.size(); ++i) {
    const std::size_t index = opened.map.memory_index(parts[i].memory);
    Memory& memory = image.memories[index];
    ByteView rest = opened.payload[i];
    for (const Range& range : parts[i].ranges) {
      for (const Range& part : (only == nullptr ? RangeSet(range) : (*only)[index].within(range)).ranges()) {
        const ByteView bytes = rest.subspan(static_cast<std::size_t>(part.begin - range.begin),
                                            static_cast<std::size_t>(part.size()));
        std::ranges::copy(bytes, memory.span(part).begin());
        memory.known.add(part);
      }
      rest = rest.subspan(static_cast<std::size_t>(range.size()));
    }
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

Image image_of_base(const OpenedBundle& opened) {
  const std::vector<PayloadPart>& parts = opened.manifest.controller().payload;
  Image image;
  std::vector<RangeSet> rest;  // of payloads that are not a whole memory
  for (const MemoryDeclaration& memory : opened.map.memories) {
    const auto part = std::ranges::find_if(parts, [&](const PayloadPart& each) {
      return each.memory == memory.name && each.ranges == std::vector{memory.extent};
    });
    if (part == parts.end()) {
      image.memories.push_back(make_memory(memory.name, memory.extent, memory.fill));
      rest.emplace_back(memory.extent);
      continue;
    }
    const Bytes& bytes = opened.payload[static_cast<std::size_t>(part - parts.begin())];
    image.memories.push_back({memory.name, memory.extent, bytes, RangeSet(memory.extent)});
    rest.emplace_back();
  }
  lay_payload(opened, image, &rest);
  return image;
}

}  // namespace calseal
