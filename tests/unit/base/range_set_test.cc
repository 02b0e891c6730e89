// Sets of addresses against the plainest set there is: one flag per address.
#include "calseal/base/range_set.h"

#include <gmock/gmock.h>

#include <array>

#include "support/random.h"

namespace calseal {
namespace {

using Flags = std::array<bool, 64>;

Flags flags_of(const RangeSet& set) {
  Flags flags{};
  for (std::size_t at = 0; at < flags.size(); ++at) flags[at] = set.contains(at);
  return flags;
}

// Sorted, disjoint, non-empty, merged where they touch.
void expect_normal(const RangeSet& set) {
  std::uint64_t total = 0;
  const Range* last = nullptr;
  for (const Range& range : set.ranges()) {
    EXPECT_LT(range.begin, range.end);
    if (last != nullptr) {
      EXPECT_LT(last->end, range.begin);
    }
    last = &range;
    total += range.size();
  }
  EXPECT_EQ(set.size(), total);
}

TEST(RangeSet, AgreesWithFlags) {
  Random random;
  for (int round = 0; round < 300; ++round) {
    RangeSet set;
    RangeSet other;
    Flags flags{};
    Flags other_flags{};
    for (int step = 0; step < 20; ++step) {
      const std::uint64_t begin = random.between(0, 63);
      const Range range{begin, random.between(begin, 64)};
      const bool add = random.between(0, 2) != 0;
      const bool first = random.coin();
      RangeSet& target = first ? set : other;
      Flags& truth = first ? flags : other_flags;
      add ? target.add(range) : target.remove(range);
      for (std::uint64_t at = range.begin; at < range.end; ++at) truth[at] = add;
    }
    expect_normal(set);
    EXPECT_EQ(flags_of(set), flags);
    Flags both{};
    Flags only{};
    for (std::size_t at = 0; at < both.size(); ++at)
      both[at] = flags[at] && other_flags[at], only[at] = flags[at] && !other_flags[at];
    const RangeSet intersection = set.intersect(other);
    expect_normal(intersection);
    EXPECT_EQ(flags_of(intersection), both);
    RangeSet rest = set;
    rest.remove(other);
    expect_normal(rest);
    EXPECT_EQ(flags_of(rest), only);
    Flags either{};
    for (std::size_t at = 0; at < either.size(); ++at) either[at] = flags[at] || other_flags[at];
    RangeSet together = set;
    together.add(other);
    expect_normal(together);
    EXPECT_EQ(flags_of(together), either);
    std::vector<Range> in_disorder = other.ranges();
    in_disorder.insert(in_disorder.end(), set.ranges().begin(), set.ranges().end());
    EXPECT_EQ(RangeSet::of(in_disorder), together);
    const std::uint64_t begin = random.between(0, 63);
    const Range window{begin, random.between(begin + 1, 64)};
    bool all = true;
    bool any = false;
    for (std::uint64_t at = window.begin; at < window.end; ++at)
      all = all && flags[at], any = any || flags[at];
    EXPECT_EQ(set.contains(window), all);
    EXPECT_EQ(set.overlaps(window), any);
    EXPECT_EQ(set.within(window).size() != 0, any);
  }
}

// A loop over the ranges of a temporary set once read freed memory.
TEST(RangeSet, RangesOfATemporaryOutliveIt) {
  std::vector<Range> seen;
  for (const Range& range : RangeSet({3, 9}).within({4, 6}).ranges()) seen.push_back(range);
  EXPECT_THAT(seen, ::testing::ElementsAre(Range{4, 6}));
}

}  // namespace
}  // namespace calseal
