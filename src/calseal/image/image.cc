#include "calseal/image/image.h"

#include <algorithm>
#include <utility>

namespace calseal {

std::optional<std::size_t> HeldRanges::find(Range range) const {
  const auto& ranges = ranges_.ranges();
  const auto it = std::upper_bound(ranges.begin(), ranges.end(), range.begin,
                                   [](std::uint64_t at, const Range& held) { return at < held.end; });
  if (it == ranges.end() || !it->contains(range)) return std::nullopt;
  return offsets_[static_cast<std::size_t>(it - ranges.begin())] +
         static_cast<std::size_t>(range.begin - it->begin);
}

void HeldRanges::add(const RangeSet& ranges, Bytes& buffer, std::uint8_t fill) {
  HeldRanges more = *this;
  more.ranges_.add(ranges);
  if (more.ranges_ == ranges_) return;
  more.offsets_.clear();
  more.size_ = 0;
  for (const Range& range : more.ranges_.ranges()) {
    more.offsets_.push_back(more.size_);
    more.size_ += static_cast<std::size_t>(range.size());
  }
  Bytes moved(more.size_, fill);
  for (std::size_t i = 0; i < offsets_.size(); ++i) {
    const Range& range = ranges_.ranges()[i];
    std::copy_n(buffer.begin() + static_cast<std::ptrdiff_t>(offsets_[i]), range.size(),
                moved.begin() + static_cast<std::ptrdiff_t>(*more.find(range)));
  }
  buffer = std::move(moved);
  *this = std::move(more);
}

void Memory::hold_all(std::uint8_t fill) {
  if (!held) return;
  held->add(RangeSet(extent), bytes, fill);
  held.reset();
}

Memory make_unread_memory(std::string name, Range extent) {
  return Memory{std::move(name), extent, {}, {}, HeldRanges()};
}

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
