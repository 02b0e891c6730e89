#include "calseal/study/image_support.h"

#include <algorithm>

namespace calseal {
namespace {

ByteView part_of(ByteView image, Range range) {
  return image.subspan(static_cast<std::size_t>(range.begin), static_cast<std::size_t>(range.size()));
}

bool stored_alike(ByteView a, ByteView b, const Hit& hit) {
  return std::ranges::equal(part_of(a, hit.slot_range()), part_of(b, hit.slot_range()));
}

// What is covered without the slot, which may lie inside.
std::vector<Range> covered(const Hit& hit) {
  const Range slot = hit.slot_range();
  if (!hit.has_slot() || !hit.coverage.overlaps(slot)) return {hit.coverage};
  std::vector<Range> parts;
  if (hit.coverage.begin < slot.begin) parts.push_back({hit.coverage.begin, slot.begin});
  if (slot.end < hit.coverage.end) parts.push_back({slot.end, hit.coverage.end});
  return parts;
}

bool differ(ByteView a, ByteView b, const Hit& hit) {
  return std::ranges::any_of(covered(hit), [&](const Range& part) {
    return !std::ranges::equal(part_of(a, part), part_of(b, part));
  });
}

// Without bytes of one value at either end.
Range used(ByteView image, Range range) {
  const auto at = [&](std::uint64_t i) { return image[static_cast<std::size_t>(i)]; };
  while (range.size() > 1 && at(range.end - 1) == at(range.end - 2)) --range.end;
  while (range.size() > 1 && at(range.begin) == at(range.begin + 1)) ++range.begin;
  return range;
}

// From the first byte in which two images differ to the last.
Range changed(ByteView a, ByteView b, Range range) {
  const auto same = [&](std::uint64_t i) {
    return a[static_cast<std::size_t>(i)] == b[static_cast<std::size_t>(i)];
  };
  while (range.size() != 0 && same(range.begin)) ++range.begin;
  while (range.size() != 0 && same(range.end - 1)) --range.end;
  return range;
}

}  // namespace

bool coverage_varies(const std::vector<ByteView>& images, const Hit& hit) {
  return std::ranges::any_of(images, [&](ByteView image) { return differ(image, images.front(), hit); });
}

bool slot_varies(const std::vector<ByteView>& images, const Hit& hit) {
  if (!hit.has_slot()) return false;
  return std::ranges::any_of(images, [&](ByteView image) {
    return !stored_alike(image, images.front(), hit) && differ(image, images.front(), hit);
  });
}

std::size_t supporting_images(const std::vector<ByteView>& images, const Hit& hit, std::uint64_t step) {
  std::vector<ByteView> counted;
  for (const ByteView image : images) {
    const bool fresh = std::ranges::all_of(counted, [&](ByteView other) {
      if (hit.has_slot()) return !stored_alike(image, other, hit);
      const Range change = changed(image, other, hit.coverage);
      const Range here = used(image, hit.coverage), there = used(other, hit.coverage);
      return change.size() != 0 && change.begin <= std::min(here.begin, there.begin) + step &&
             change.end + step >= std::max(here.end, there.end);
    });
    if (fresh) counted.push_back(image);
  }
  return counted.size();
}

}  // namespace calseal
