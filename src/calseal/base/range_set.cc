#include "calseal/base/range_set.h"

#include <algorithm>

namespace calseal {
namespace {

// First range that ends after `at`; the only one that can contain it.
auto first_ending_after(const std::vector<Range>& ranges, std::uint64_t at) {
  return std::upper_bound(ranges.begin(), ranges.end(), at,
                          [](std::uint64_t value, const Range& range) { return value < range.end; });
}

}  // namespace

void RangeSet::add(Range range) {
  if (range.empty()) return;
  if (ranges_.empty() || ranges_.back().end < range.begin) {
    ranges_.push_back(range);
    return;
  }
  auto first = std::lower_bound(ranges_.begin(), ranges_.end(), range.begin,
                                [](const Range& r, std::uint64_t value) { return r.end < value; });
  auto last = first;
  while (last != ranges_.end() && last->begin <= range.end) {
    range.begin = std::min(range.begin, last->begin);
    range.end = std::max(range.end, last->end);
    ++last;
  }
  if (first == last) {
    ranges_.insert(first, range);
  } else {
    *first = range;
    ranges_.erase(first + 1, last);
  }
}

void RangeSet::add(const RangeSet& other) {
  for (const Range& range : other.ranges_) add(range);
}

void RangeSet::remove(Range range) {
  if (range.empty()) return;
  std::vector<Range> kept;
  kept.reserve(ranges_.size() + 1);
  for (const Range& have : ranges_) {
    if (!have.overlaps(range)) {
      kept.push_back(have);
      continue;
    }
    if (have.begin < range.begin) kept.push_back({have.begin, range.begin});
    if (range.end < have.end) kept.push_back({range.end, have.end});
  }
  ranges_ = std::move(kept);
}

void RangeSet::remove(const RangeSet& other) {
  for (const Range& range : other.ranges_) remove(range);
}

bool RangeSet::contains(std::uint64_t at) const {
  const auto it = first_ending_after(ranges_, at);
  return it != ranges_.end() && it->begin <= at;
}

bool RangeSet::contains(Range range) const {
  if (range.empty()) return true;
  const auto it = first_ending_after(ranges_, range.begin);
  return it != ranges_.end() && it->contains(range);
}

bool RangeSet::overlaps(Range range) const {
  if (range.empty()) return false;
  const auto it = first_ending_after(ranges_, range.begin);
  return it != ranges_.end() && it->begin < range.end;
}

RangeSet RangeSet::within(Range range) const {
  RangeSet result;
  if (range.empty()) return result;
  for (auto it = first_ending_after(ranges_, range.begin); it != ranges_.end() && it->begin < range.end;
       ++it) {
    result.add(calseal::intersect(*it, range));
  }
  return result;
}

RangeSet RangeSet::intersect(const RangeSet& other) const {
  RangeSet result;
  for (const Range& range : other.ranges_) result.add(within(range));
  return result;
}

std::uint64_t RangeSet::size() const {
  std::uint64_t total = 0;
  for (const Range& range : ranges_) total += range.size();
  return total;
}

}  // namespace calseal
