#include "calseal/image/image.h"

#include <algorithm>
#include <utility>

namespace calseal {

Memory make_memory(std::string name, Range extent, std::uint8_t fill) {
  return Memory{std::move(name), extent, Bytes(static_cast<std::size_t>(extent.size()), fill), RangeSet()};
}

const Memory* Image::find(std::string_view name) const {
  const auto it = std::find_if(memories.begin(), memories.end(),
                               [&](const Memory& memory) { return memory.name == name; });
  return it == memories.end() ? nullptr : &*it;
}

Memory* Image::find(std::string_view name) { return const_cast<Memory*>(std::as_const(*this).find(name)); }

}  // namespace calseal
