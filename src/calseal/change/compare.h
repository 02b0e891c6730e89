// Where two images of one region map differ.
#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/image/image.h"
#include "calseal/map/plan.h"

namespace calseal {

// A run of differing bytes inside one span.
struct ChangedRange {
  Place place;
  SpanKind kind = SpanKind::kLocked;
  std::string region;  // name of the region, or empty
  std::string
      owner;  // name of the permitted patch, signed part, checksum or copy that the bytes belong to, or empty
};

// Differing bytes of two equally long sequences as ascending, disjoint, non-adjacent ranges of offsets.
std::vector<Range> differing_ranges(ByteView a, ByteView b);
// The first of these ranges from an offset on; empty, at the end, when there is none.
Range next_difference(ByteView a, ByteView b, std::size_t from);

// How much of two equally long sequences differs, and the first run of it; nothing else is kept, so unrelated
// bytes cost no memory.
struct DifferenceSum {
  std::uint64_t bytes = 0;
  Range first;  // offsets; empty when nothing differs
};
DifferenceSum sum_differences(ByteView a, ByteView b);

// All bytes known in both that differ: memories in map order, ascending, cut at every span of the plan and at
// patches and signed parts, one after another. Exact: no unchanged byte is inside. `within`: where the two
// can differ at all, one set per memory, when the caller knows that the rest is one and the same; nothing:
// anywhere.
void walk_changes(const Plan& plan, const Image& before, const Image& after,
                  const std::function<void(const ChangedRange&)>& take,
                  const std::vector<RangeSet>* within = nullptr);
// The same as a list, which unrelated images make long.
std::vector<ChangedRange> compare_images(const Plan& plan, const Image& before, const Image& after,
                                         const std::vector<RangeSet>* within = nullptr);

// Ranges for people: neighbours of one region, kind and owner at most `gap` bytes apart become one.
std::vector<ChangedRange> coalesce(const std::vector<ChangedRange>& changes, std::uint64_t gap = 16);

// Name of the region that holds an address, or empty.
std::string region_at(const RegionMap& map, std::size_t memory, std::uint64_t address);

}  // namespace calseal
