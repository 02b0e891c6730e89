// What a controller holds: memories whose bytes are known or unknown.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/range_set.h"
#include "calseal/base/result.h"

namespace calseal {

// One address space. `bytes` always spans it whole; where a byte is unknown its value there is the fill and
// means nothing. Invariant: bytes.size() == size of `extent`, known inside `extent`.
struct Memory {
  std::string name;
  Range extent;  // addresses
  Bytes bytes;
  RangeSet known;

  // The bytes at known or unknown addresses alike; `range` must lie inside `extent`.
  ByteView view(Range range) const {
    return ByteView(bytes).subspan(static_cast<std::size_t>(range.begin - extent.begin),
                                   static_cast<std::size_t>(range.size()));
  }
  std::span<std::uint8_t> span(Range range) {
    return std::span(bytes).subspan(static_cast<std::size_t>(range.begin - extent.begin),
                                    static_cast<std::size_t>(range.size()));
  }
  bool knows(Range range) const { return known.contains(range); }
};

// A memory of unknown bytes, all set to `fill`.
Memory make_memory(std::string name, Range extent, std::uint8_t fill);

// All memories of one controller, in the order of its region map.
struct Image {
  std::vector<Memory> memories;

  const Memory* find(std::string_view name) const;
  Memory* find(std::string_view name);
};

}  // namespace calseal
