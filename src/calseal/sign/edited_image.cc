#include "calseal/sign/edited_image.h"

#include <algorithm>

namespace calseal {

Image base_image(const OpenedBundle& base, const RegionMap& map) {
  Image carried = image_of_base(base);
  Image image = blank_image(map);
  for (Memory& memory : image.memories) {
    if (Memory* from = carried.find(memory.name); from != nullptr && from->extent == memory.extent)
      memory = std::move(*from);
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
