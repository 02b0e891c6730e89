// Work on the other core is done by the time it is joined, whoever starts it and how often.
#include "calseal/base/other_core.h"

#include <gtest/gtest.h>

#include <atomic>

namespace calseal {
namespace {

TEST(OtherCore, HasDoneTheWorkWhenItIsJoined) {
  for (int i = 0; i < 200; ++i) {
    int done = 0;
    OtherCore other;
    const bool started = other.start([&] { done = i + 1; });
    EXPECT_EQ(started, OtherCore::is_there());
    EXPECT_EQ(other.started(), started);
    other.join();
    EXPECT_FALSE(other.started());
    EXPECT_EQ(done, started ? i + 1 : 0);
  }
}

TEST(OtherCore, TakesOnePieceOfWorkAtATime) {
  if (!OtherCore::is_there()) GTEST_SKIP() << "one core";
  std::atomic<bool> go{false};
  std::atomic<int> runs{0};
  OtherCore other;
  ASSERT_TRUE(other.start([&] {
    while (!go) std::this_thread::yield();
    ++runs;
  }));
  EXPECT_FALSE(other.start([&] { runs += 100; }));
  go = true;
  other.join();
  ASSERT_TRUE(other.start([&] { ++runs; }));
  other.join();
  EXPECT_EQ(runs, 2);
}

TEST(OtherCore, StartsNothingWhileCoresAreTaken) {
  const bool there = OtherCore::is_there();
  {
    const CoresTaken outer;
    const CoresTaken inner;
    EXPECT_FALSE(OtherCore::is_there());
    OtherCore other;
    EXPECT_FALSE(other.start([] { FAIL(); }));
  }
  EXPECT_EQ(OtherCore::is_there(), there);
}

TEST(OtherCore, IsJoinedWhenItIsLeft) {
  std::atomic<int> runs{0};
  for (int i = 0; i < 50; ++i) {
    OtherCore other;
    other.start([&] { ++runs; });
  }
  EXPECT_EQ(runs, OtherCore::is_there() ? 50 : 0);
}

}  // namespace
}  // namespace calseal
