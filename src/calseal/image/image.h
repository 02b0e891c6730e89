// What a controller holds: memories whose bytes are known or unknown.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/range_set.h"
#include "calseal/base/result.h"

namespace calseal {

// Where the bytes of some ranges stand in a buffer that holds nothing else: one range after another,
// ascending.
class HeldRanges {
 public:
  const RangeSet& ranges() const { return ranges_; }
  // Bytes in the buffer.
  std::size_t size() const { return size_; }
  // The offset of a range that is held in one piece.
  std::optional<std::size_t> find(Range range) const;
  // Holds more ranges; their bytes in `buffer`, and no others, are `fill`. What is held already stays.
  void add(const RangeSet& ranges, Bytes& buffer, std::uint8_t fill);

 private:
  RangeSet ranges_;
  std::vector<std::size_t> offsets_;  // by range
  std::size_t size_ = 0;
};

// One address space. `bytes` spans it whole; where a byte is unknown its value there is the fill and means
// nothing. Or, with `held`, it has the bytes of these ranges alone: what nobody read takes no room.
// Invariant: known inside extent, and inside what is held.
struct Memory {
  std::string name;
  Range extent;  // addresses
  Bytes bytes;
  RangeSet known;
  std::optional<HeldRanges> held = std::nullopt;  // nothing: all of `extent`

  // The bytes at addresses that are known, or at least held; of others the view is empty.
  ByteView view(Range range) const {
    const auto at = offset_of(range);
    return at ? ByteView(bytes).subspan(*at, static_cast<std::size_t>(range.size())) : ByteView();
  }
  std::span<std::uint8_t> span(Range range) {
    const auto at = offset_of(range);
    return at ? std::span(bytes).subspan(*at, static_cast<std::size_t>(range.size()))
              : std::span<std::uint8_t>();
  }
  bool knows(Range range) const { return known.contains(range); }

  // Room for more ranges, where not all of the memory has it.
  void hold(const RangeSet& ranges, std::uint8_t fill) {
    if (held) held->add(ranges, bytes, fill);
  }
  // Room for all of the memory.
  void hold_all(std::uint8_t fill);

 private:
  std::optional<std::size_t> offset_of(Range range) const {
    if (held) return held->find(range);
    return static_cast<std::size_t>(range.begin - extent.begin);
  }
};

// A memory that holds nothing yet.
Memory make_unread_memory(std::string name, Range extent);

// A memory of unknown bytes, all set to `fill`.
Memory make_memory(std::string name, Range extent, std::uint8_t fill);

// All memories of one controller, in the order of its region map.
struct Image {
  std::vector<Memory> memories;

  const Memory* find(std::string_view name) const;
  Memory* find(std::string_view name);
};

}  // namespace calseal
