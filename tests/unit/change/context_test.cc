// Places found again by the bytes around them: where they are known to be, where there are two, where nothing
// tells, and at every edge.
#include "calseal/change/context.h"

#include <gmock/gmock.h>

#include <algorithm>
#include <array>
#include <vector>

#include "support/random.h"

namespace calseal {
namespace {

constexpr std::uint64_t kOrigin = 0x80000000;

Memory memory_of(Bytes bytes, std::uint64_t origin = kOrigin) {
  const Range extent{origin, origin + bytes.size()};
  return Memory{"flash", extent, std::move(bytes), RangeSet(extent)};
}

ContextGroup group_at(std::uint64_t offset, std::uint64_t size) {
  return {{kOrigin + offset, kOrigin + offset + size}, {{kOrigin + offset, kOrigin + offset + size}}};
}

ContextMatch match_of(const Memory& from, const Memory& to, const ContextGroup& group,
                      const RangeSet& derived_old = {}, const RangeSet& derived_new = {}) {
  return find_by_context(from, to, {group}, derived_old, derived_new).front();
}

// The score as context.h describes it, window by window, byte by byte.
std::uint64_t plain_score(const ContextGroup& group, const Memory& from, const Memory& to,
                          std::uint64_t begin) {
  const auto same = [&](std::int64_t distance) {  // from the group's begin
    const auto old_at = static_cast<std::int64_t>(group.range.begin) + distance;
    const auto new_at = static_cast<std::int64_t>(begin) + distance;
    return to.known.contains(static_cast<std::uint64_t>(new_at)) &&
           from.bytes[static_cast<std::size_t>(old_at) - from.extent.begin] ==
               to.bytes[static_cast<std::size_t>(new_at) - to.extent.begin];
  };
  const auto size = static_cast<std::int64_t>(group.range.size());
  const auto exists = [&](std::int64_t distance) {
    return from.known.contains(group.range.begin + static_cast<std::uint64_t>(distance));
  };
  std::uint64_t own = 0;
  for (std::int64_t i = 0; i < size; ++i) own += same(i) ? 1 : 0;
  const std::uint64_t core = std::min<std::uint64_t>(group.range.size(), 80);
  std::uint64_t best = 0;
  for (const auto& [left, right] :
       std::array<std::pair<int, int>, 6>{{{48, 48}, {24, 24}, {16, 16}, {10, 10}, {32, 0}, {0, 32}}}) {
    std::uint64_t total = core, agreed = own * core / group.range.size();
    for (int i = 1; i <= left && exists(-i); ++i) ++total, agreed += same(-i) ? 1 : 0;
    for (int i = 0; i < right && exists(size + i); ++i) ++total, agreed += same(size + i) ? 1 : 0;
    if (total >= 20) best = std::max(best, agreed * 1000 / total);
  }
  return best;
}

TEST(Context, ScoresAreWhatTheSurroundingsAgree) {
  Random random;
  for (int round = 0; round < 60; ++round) {
    const Memory from = memory_of(random.bytes(random.between(200, 900)));
    // The same bytes moved, some of them others.
    Bytes bytes = random.bytes(random.between(0, 300));
    bytes.insert(bytes.end(), from.bytes.begin(), from.bytes.end());
    for (std::uint64_t n = random.between(0, bytes.size() / 6); n > 0; --n)
      bytes[random.between(0, bytes.size() - 1)] = static_cast<std::uint8_t>(random.between(0, 255));
    const Memory to = memory_of(std::move(bytes));
    const std::uint64_t size = random.between(1, 100);
    const ContextGroup group = group_at(random.between(0, from.bytes.size() - size), size);
    const ContextMatch match = match_of(from, to, group);
    for (std::size_t i = 0; i < match.here.size(); ++i) {
      const ContextCandidate& one = match.here[i];
      ASSERT_GE(one.begin, to.extent.begin);
      ASSERT_LE(one.begin + size, to.extent.end);
      EXPECT_EQ(one.score, plain_score(group, from, to, one.begin));
      EXPECT_EQ(one.core_agrees,
                std::ranges::equal(from.view(group.range), to.view({one.begin, one.begin + size})));
      EXPECT_GE(match.here[i == 0 ? 0 : i - 1].score, one.score);
    }
  }
}

TEST(Context, WhatMovedWholeIsFoundAloneAndWithoutDoubt) {
  Random random;
  for (int round = 0; round < 60; ++round) {
    const std::uint64_t moved = random.between(0, 500);
    const Memory from = memory_of(random.bytes(600));
    Bytes bytes = random.bytes(moved);
    bytes.insert(bytes.end(), from.bytes.begin(), from.bytes.end());
    const Memory to = memory_of(std::move(bytes));
    const std::uint64_t size = random.between(1, 200);
    const ContextGroup group = group_at(random.between(0, from.bytes.size() - size), size);
    const ContextMatch match = match_of(from, to, group);
    ASSERT_TRUE(match.found());
    EXPECT_TRUE(match.alone());
    EXPECT_EQ(match.here.front().begin, group.range.begin + moved);
    EXPECT_EQ(match.here.front().score, 1000U);
    EXPECT_TRUE(match.here.front().core_agrees);
  }
}

// Groups are searched for in one pass; each gets the answer that it gets alone, in the order given.
TEST(Context, ManyGroupsAreAsEachAlone) {
  Random random;
  const Memory from = memory_of(random.bytes(2000));
  Bytes bytes = from.bytes;
  std::rotate(bytes.begin(), bytes.begin() + 700, bytes.end());
  const Memory to = memory_of(std::move(bytes));
  std::vector<ContextGroup> groups;
  for (int i = 0; i < 40; ++i) groups.push_back(group_at(random.between(0, 1900), random.between(1, 100)));
  const auto together = find_by_context(from, to, groups, {}, {});
  ASSERT_EQ(together.size(), groups.size());
  for (std::size_t i = 0; i < groups.size(); ++i) {
    const ContextMatch alone = match_of(from, to, groups[i]);
    ASSERT_EQ(together[i].here.size(), alone.here.size());
    EXPECT_EQ(together[i].second, alone.second);
    for (std::size_t k = 0; k < alone.here.size(); ++k) {
      EXPECT_EQ(together[i].here[k].begin, alone.here[k].begin);
      EXPECT_EQ(together[i].here[k].score, alone.here[k].score);
    }
  }
}

TEST(Context, OfTwinsNeitherIsAlone) {
  Random random;
  const Bytes stretch = random.bytes(200);
  Bytes old = random.bytes(100);
  old.insert(old.end(), stretch.begin(), stretch.end());
  const Memory from = memory_of(old);
  // Twice in the new memory.
  Bytes twice = old;
  twice.insert(twice.end(), stretch.begin(), stretch.end());
  const ContextMatch here = match_of(from, memory_of(twice), group_at(190, 20));
  ASSERT_EQ(here.here.size(), 2U);
  EXPECT_FALSE(here.alone());
  // Twice in the old one: which of them stands in the new memory is not known either.
  const ContextMatch there = match_of(memory_of(twice), from, group_at(190, 20));
  ASSERT_EQ(there.here.size(), 1U);
  EXPECT_EQ(there.second, 1000U);
  EXPECT_FALSE(there.alone());
  // A twin that repeats by declaration is no place, and no rival.
  const RangeSet derived(Range{kOrigin + 300, kOrigin + 500});
  EXPECT_TRUE(match_of(from, memory_of(twice), group_at(190, 20), {}, derived).alone());
  EXPECT_TRUE(match_of(memory_of(twice), from, group_at(190, 20), derived, {}).alone());
}

TEST(Context, OwnBytesMayDifferAndThatIsSaid) {
  Random random;
  const Memory from = memory_of(random.bytes(400));
  Memory to = from;
  to.bytes[200] ^= 1;
  const ContextMatch match = match_of(from, to, group_at(198, 6));
  ASSERT_TRUE(match.found());
  EXPECT_FALSE(match.here.front().core_agrees);
  // Between the parts that must agree, others may differ.
  ContextGroup parts = group_at(198, 6);
  parts.places = {{kOrigin + 198, kOrigin + 200}, {kOrigin + 201, kOrigin + 204}};
  EXPECT_TRUE(match_of(from, to, parts).here.front().core_agrees);
}

TEST(Context, WhatIsAlikeEverywhereTellsNothing) {
  for (const Bytes& pattern :
       {Bytes{0xff}, Bytes{0x00}, Bytes{0x12, 0x34}, Bytes{1, 2, 3}, Bytes{1, 2, 3, 4, 5}}) {
    Bytes bytes(5000);
    for (std::size_t i = 0; i < bytes.size(); ++i) bytes[i] = pattern[i % pattern.size()];
    const Memory memory = memory_of(bytes);
    const ContextMatch match = match_of(memory, memory, group_at(2000, 32));
    EXPECT_FALSE(match.found() && match.alone());
    EXPECT_LE(match.here.size(), 64U * 200U);  // a run that occurs often is not followed
  }
}

TEST(Context, EdgesGapsAndSmallMemories) {
  Random random;
  const Memory whole = memory_of(random.bytes(300));
  // At both ends, and the memory as a whole.
  for (const ContextGroup& group : {group_at(0, 5), group_at(295, 5), group_at(299, 1), group_at(0, 300)}) {
    const ContextMatch match = match_of(whole, whole, group);
    ASSERT_TRUE(match.found());
    EXPECT_EQ(match.here.front().begin, group.range.begin);
    EXPECT_EQ(match.here.front().score, 1000U);
  }
  // Into a memory that has no room for it, or hardly any byte, or none that is known.
  const Bytes tail(whole.bytes.begin() + 200, whole.bytes.end());
  EXPECT_THAT(match_of(whole, memory_of(tail), group_at(150, 101)).here, testing::IsEmpty());
  EXPECT_THAT(match_of(whole, memory_of(Bytes(3, 7)), group_at(0, 2)).here, testing::IsEmpty());
  EXPECT_THAT(match_of(memory_of(Bytes(3, 7)), whole, group_at(0, 2)).here, testing::IsEmpty());
  Memory unknown = whole;
  unknown.known = {};
  EXPECT_THAT(match_of(whole, unknown, group_at(100, 8)).here, testing::IsEmpty());
  EXPECT_THAT(match_of(unknown, whole, group_at(100, 8)).here, testing::IsEmpty());
  // Unknown bytes of the new memory agree with nothing, whatever stands in their place.
  Memory hole = whole;
  hole.known.remove(Range{kOrigin + 104, kOrigin + 106});
  const ContextMatch match = match_of(whole, hole, group_at(100, 8));
  ASSERT_FALSE(match.here.empty());
  EXPECT_FALSE(match.here.front().core_agrees);
  EXPECT_LT(match.here.front().score, 1000U);
  // Addresses down to 0 and up to the end of 32 bits.
  for (const std::uint64_t origin : {std::uint64_t{0}, (std::uint64_t{1} << 32) - 300}) {
    const Memory edge = memory_of(whole.bytes, origin);
    for (const std::uint64_t at : {std::uint64_t{0}, std::uint64_t{292}}) {
      const ContextMatch found = match_of(edge, edge, {{origin + at, origin + at + 8}, {}});
      ASSERT_TRUE(found.found());
      EXPECT_EQ(found.here.front().begin, origin + at);
    }
    // Bytes from before a memory's beginning would begin below it.
    const Memory later = memory_of(Bytes(whole.bytes.begin() + 100, whole.bytes.end()), origin);
    EXPECT_FALSE(match_of(edge, later, {{origin + 60, origin + 68}, {}}).found());
  }
}

}  // namespace
}  // namespace calseal
