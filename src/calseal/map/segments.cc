#include "calseal/map/segments.h"

namespace calseal {

std::uint64_t segment_total(const MemoryDeclaration& memory) {
  std::uint64_t total = 0;
  for (const Range& segment : memory.segments) total += segment.size();
  return total;
}

RangeSet segments_of(const MemoryDeclaration& memory) {
  RangeSet exists;
  for (const Range& segment : memory.segments) exists.add(segment);
  return exists;
}

Bytes flat_bytes(const MemoryDeclaration& declared, const Memory& memory) {
  Bytes flat;
  flat.reserve(segment_total(declared));
  for (const Range& segment : declared.segments) {
    const ByteView view = memory.view(segment);
    flat.insert(flat.end(), view.begin(), view.end());
  }
  return flat;
}

}  // namespace calseal
