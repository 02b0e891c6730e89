#include "calseal/sign/edited_image.h"

#include <algorithm>

#include "calseal/check/payload.h"

namespace calseal {

Image base_image(const OpenedBundle& base, const RegionMap& map) {
  Image carried = image_of_base(base);
  Image image;
  for (const MemoryDeclaration& memory : map.memories) {
    Memory* const from = carried.find(memory.name);
    const bool fits = from != nullptr && from->extent == memory.extent;
    image.memories.push_back(fits ? std::move(*from) : make_memory(memory.name, memory.extent, memory.fill));
  }
  return image;
}

Result<Image> lay_edit(const RegionMap& map, const Image& base, std::vector<ReadFile> files) {
  CALSEAL_ASSIGN(const Read edited, load_read(map, std::move(files)));
  Image result = base;
  for (std::size_t m = 0; m < map.memories.size(); ++m) {
    RangeSet beyond = edited.image.memories[m].known;
    beyond.remove(base.memories[m].known);
    if (!beyond.empty()) {
      return fail({Reason::kReadIncomplete, "", place_text(map, {m, beyond.ranges().front()}),
                   "edited bytes that the base does not hold", "an edit of the base and nothing more",
                   "edit the file that was read, in its own form"});
    }
    for (const Range& range : edited.image.memories[m].known.ranges())
      std::ranges::copy(edited.image.memories[m].view(range), result.memories[m].span(range).begin());
  }
  return result;
}

}  // namespace calseal
