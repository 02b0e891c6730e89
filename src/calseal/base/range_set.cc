#include "calseal/base/range_set.h"

#include <algorithm>
#include <iterator>

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

RangeSet RangeSet::of(std::vector<Range> ranges) {
  const auto by_begin = [](const Range& a, const Range& b) { return a.begin < b.begin; };
  if (!std::is_sorted(ranges.begin(), ranges.end(), by_begin))
    std::sort(ranges.begin(), ranges.end(), by_begin);
  RangeSet set;
  for (const Range& range : ranges) set.add(range);
  return set;
}

void RangeSet::add(const RangeSet& other) {
  if (other.ranges_.size() <= 1 || empty() || ranges_.back().end < other.ranges_.front().begin) {
    for (const Range& range : other.ranges_) add(range);
    return;
  }
  const auto by_begin = [](const Range& a, const Range& b) { return a.begin < b.begin; };
  RangeSet both;
  std::vector<Range> in_order;
  in_order.reserve(ranges_.size() + other.ranges_.size());
  std::merge(ranges_.begin(), ranges_.end(), other.ranges_.begin(), other.ranges_.end(),
             std::back_inserter(in_order), by_begin);
  for (const Range& range : in_order) both.add(range);
  *this = std::move(both);
}

void RangeSet::remove(Range range) { remove(RangeSet(range)); }

void RangeSet::remove(const RangeSet& other) {
  if (other.empty() || empty()) return;
  std::vector<Range> kept;
  kept.reserve(ranges_.size() + 1);
  auto gone = other.ranges_.begin();
  for (Range have : ranges_) {
    while (gone != other.ranges_.end() && gone->end <= have.begin) ++gone;
    for (auto it = gone; it != other.ranges_.end() && it->begin < have.end; ++it) {
      if (have.begin < it->begin) kept.push_back({have.begin, it->begin});
      have.begin = std::min(it->end, have.end);
    }
    if (!have.empty()) kept.push_back(have);
  }
  ranges_ = std::move(kept);
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
