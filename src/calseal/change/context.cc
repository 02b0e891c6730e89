// A tolerant search. Where runs of bytes around a group occur in the new memory, there the group might lie;
// each such place is scored by how much of the surroundings agrees. The same search in the old memory tells
// how unlike its neighbours the true place is to begin with.
#include "calseal/change/context.h"

#include <algorithm>
#include <array>
#include <cstring>
#include <unordered_map>

namespace calseal {
namespace {

constexpr std::uint64_t kAround = 48;       // bytes looked at on each side
constexpr std::uint64_t kWindowLeast = 20;  // bytes of a window, the group's own included
constexpr std::array<std::pair<std::uint64_t, std::uint64_t>, 6> kWindows = {
    {{48, 48}, {24, 24}, {16, 16}, {10, 10}, {32, 0}, {0, 32}}};  // bytes on the left and right
constexpr std::uint64_t kCoreWeight = 80;                         // most that a group's own bytes count
constexpr std::size_t kAnchor = 8;                                // bytes of a run that is searched for
constexpr std::size_t kAnchorHits = 64;                           // a run that occurs more often says nothing

std::uint64_t anchor_at(const Bytes& bytes, std::size_t at) {
  std::uint64_t word = 0;
  std::memcpy(&word, bytes.data() + at, kAnchor);
  return word;
}

bool says_something(std::uint64_t anchor) {
  // A run of one value, or of one 16-bit value, occurs anywhere.
  return anchor != ((anchor << 16) | (anchor >> 48));
}

// Every distance of an anchor from its group's begin, by the anchor's bytes.
class Anchors {
 public:
  struct Wanted {
    std::size_t group;
    std::int64_t distance;
  };

  void add(std::size_t group, const Memory& memory, const Range& range) {
    const std::uint64_t begin = std::max(memory.extent.begin, range.begin - std::min(range.begin, kAround));
    const std::uint64_t end = std::min(memory.extent.end, range.end + kAround);
    for (std::uint64_t at = begin; at + kAnchor <= end; ++at) {
      if (!memory.knows({at, at + kAnchor})) continue;
      const std::uint64_t word = anchor_at(memory.bytes, static_cast<std::size_t>(at - memory.extent.begin));
      if (!says_something(word)) continue;
      wanted_[word].push_back(
          {group, static_cast<std::int64_t>(at) - static_cast<std::int64_t>(range.begin)});
      filter_[filter_index(word)] = true;
    }
  }

  // Places where each group might begin, in one pass over the memory.
  std::vector<std::vector<std::uint64_t>> find(const Memory& memory, std::size_t groups) const {
    std::unordered_map<std::uint64_t, std::vector<std::uint64_t>> hits;
    for (const Range& known : memory.known.ranges()) {
      for (std::uint64_t at = known.begin; at + kAnchor <= known.end; ++at) {
        const std::uint64_t word =
            anchor_at(memory.bytes, static_cast<std::size_t>(at - memory.extent.begin));
        if (!filter_[filter_index(word)] || !wanted_.contains(word)) continue;
        std::vector<std::uint64_t>& places = hits[word];
        if (places.size() <= kAnchorHits) places.push_back(at);
      }
    }
    std::vector<std::vector<std::uint64_t>> begins(groups);
    for (const auto& [word, places] : hits) {
      if (places.size() > kAnchorHits) continue;
      for (const Wanted& wanted : wanted_.at(word)) {
        for (const std::uint64_t at : places) {
          const std::int64_t begin = static_cast<std::int64_t>(at) - wanted.distance;
          if (begin >= 0) begins[wanted.group].push_back(static_cast<std::uint64_t>(begin));
        }
      }
    }
    for (std::vector<std::uint64_t>& list : begins) {
      std::ranges::sort(list);
      list.erase(std::unique(list.begin(), list.end()), list.end());
    }
    return begins;
  }

 private:
  static std::size_t filter_index(std::uint64_t word) {
    return static_cast<std::size_t>((word * 0x9e3779b97f4a7c15U) >> 44);
  }
  std::unordered_map<std::uint64_t, std::vector<Wanted>> wanted_;
  std::vector<bool> filter_ = std::vector<bool>(std::size_t{1} << 20);
};

// What agrees around a group on one side, nearest byte first, added up: agreed[i] of the first i bytes.
struct Side {
  std::array<std::uint64_t, kAround + 1> agreed = {};
  std::uint64_t bytes = 0;  // that the old base has there, at most kAround

  // Of the nearest `wanted` bytes.
  std::uint64_t upto(std::uint64_t wanted) const { return agreed[std::min(wanted, bytes)]; }
};

// How well the surroundings of `group` in `from` agree with those of `begin` in `to`: the best of several
// windows, since a block that moved alone agrees on one side or near by only. Other places are scored by the
// same windows, so what is alike anywhere in one of them is not taken for sure.
ContextCandidate score_at(const ContextGroup& group, const Memory& from, const Memory& to,
                          std::uint64_t begin) {
  ContextCandidate candidate{begin, 0, true};
  const auto agrees = [&](std::uint64_t old_at, std::uint64_t new_at) {
    return to.known.contains(new_at) && from.bytes[static_cast<std::size_t>(old_at - from.extent.begin)] ==
                                            to.bytes[static_cast<std::size_t>(new_at - to.extent.begin)];
  };
  Side left, right;
  for (std::uint64_t i = 1; i <= kAround; ++i) {
    if (group.range.begin < from.extent.begin + i || !from.known.contains(group.range.begin - i)) break;
    const bool same = begin >= to.extent.begin + i && agrees(group.range.begin - i, begin - i);
    left.agreed[i] = left.agreed[i - 1] + (same ? 1 : 0);
    left.bytes = i;
  }
  for (std::uint64_t i = 1; i <= kAround; ++i) {
    const std::uint64_t at = group.range.end + i - 1;
    if (at >= from.extent.end || !from.known.contains(at)) break;
    const std::uint64_t there = begin + group.range.size() + i - 1;
    const bool same = there < to.extent.end && agrees(at, there);
    right.agreed[i] = right.agreed[i - 1] + (same ? 1 : 0);
    right.bytes = i;
  }
  // What lies between the edits is surroundings too; what they expect must be there whatever the score.
  std::uint64_t same = 0;
  std::size_t place = 0;
  for (std::uint64_t i = 0; i < group.range.size(); ++i) {
    const std::uint64_t at = group.range.begin + i;
    while (place < group.places.size() && group.places[place].end <= at) ++place;
    if (agrees(at, begin + i)) {
      ++same;
    } else if (place < group.places.size() && group.places[place].contains(at)) {
      candidate.core_agrees = false;
    }
  }
  const std::uint64_t core = std::min(group.range.size(), kCoreWeight);
  const std::uint64_t core_agreed = same * core / group.range.size();
  for (const auto& [on_left, on_right] : kWindows) {
    const std::uint64_t total = core + std::min(on_left, left.bytes) + std::min(on_right, right.bytes);
    const std::uint64_t agreed = core_agreed + left.upto(on_left) + right.upto(on_right);
    if (total < kWindowLeast) continue;
    candidate.score = std::max(candidate.score, agreed * 1000 / total);
  }
  return candidate;
}

// Best first. What correction derives repeats its original, so it is no place for an edit; nor is `except`.
std::vector<ContextCandidate> judged(const ContextGroup& group, const Memory& from, const Memory& to,
                                     const std::vector<std::uint64_t>& begins, const RangeSet& derived,
                                     std::optional<std::uint64_t> except) {
  std::vector<ContextCandidate> candidates;
  for (const std::uint64_t begin : begins) {
    if (begin == except || begin < to.extent.begin || begin > to.extent.end ||
        group.range.size() > to.extent.end - begin)
      continue;
    if (derived.contains(Range{begin, begin + group.range.size()})) continue;
    candidates.push_back(score_at(group, from, to, begin));
  }
  std::ranges::stable_sort(candidates, std::ranges::greater(), &ContextCandidate::score);
  return candidates;
}

}  // namespace

std::vector<ContextMatch> find_by_context(const Memory& from, const Memory& to,
                                          const std::vector<ContextGroup>& groups,
                                          const RangeSet& derived_old, const RangeSet& derived_new) {
  Anchors anchors;
  for (std::size_t g = 0; g < groups.size(); ++g) anchors.add(g, from, groups[g].range);
  const auto here = anchors.find(to, groups.size());
  const auto there = anchors.find(from, groups.size());
  std::vector<ContextMatch> matches(groups.size());
  for (std::size_t g = 0; g < groups.size(); ++g) {
    ContextMatch& match = matches[g];
    match.here = judged(groups[g], from, to, here[g], derived_new, std::nullopt);
    const auto alike = judged(groups[g], from, from, there[g], derived_old, groups[g].range.begin);
    match.second = match.here.size() > 1 ? match.here[1].score : 0;
    if (!alike.empty()) match.second = std::max(match.second, alike.front().score);
  }
  return matches;
}

}  // namespace calseal
