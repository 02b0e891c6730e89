// Digests that a second thread began are those of the parts, wherever it was stopped.
#include "calseal/digest/digests_begun.h"

#include <gtest/gtest.h>

#include <chrono>
#include <random>
#include <thread>

namespace calseal {
namespace {

TEST(DigestsBegun, AreThoseOfThePartsWhereverTheyAreStopped) {
  const unsigned seed = std::random_device{}();
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  std::size_t ended = 0;
  for (int round = 0; round < 60; ++round) {
    std::vector<Bytes> parts(1 + random() % 6);
    for (Bytes& part : parts) {
      part.resize(random() % 900000);
      for (std::size_t i = 0; i < part.size(); i += 97) part[i] = static_cast<std::uint8_t>(random());
    }
    DigestsBegun begun({parts.begin(), parts.end()});
    std::this_thread::sleep_for(std::chrono::microseconds(random() % 2000));
    begun.pause();
    std::vector<Bytes> moved;  // to other addresses
    for (Bytes& part : parts) {
      moved.emplace_back(part);
      std::ranges::fill(part, std::uint8_t{0});
    }
    bool all = true;  // before the first that was not begun
    for (std::size_t i = 0; i < moved.size(); ++i) {
      const auto digest = begun.finish(i, moved[i]);
      EXPECT_TRUE(all || !digest) << i;
      all = all && digest.has_value();
      if (!digest) continue;
      EXPECT_EQ(*digest, compute_sha256(moved[i])) << i;
      ++ended;
    }
  }
  // Without a second core nothing is begun; with one, 60 times nothing would be no accident.
  EXPECT_EQ(ended > 0, OtherCore::is_there());
}

TEST(DigestsBegun, NothingIsBegunThatIsNotWorthIt) {
  const Bytes bytes(1000, 1);
  DigestsBegun begun({bytes});
  EXPECT_FALSE(begun.finish(0, bytes).has_value());
  EXPECT_FALSE(begun.finish(1, bytes).has_value());
}

TEST(DigestsBegun, CanBeGivenUpAtAnyTime) {
  const Bytes bytes(4000000, 0x5a);
  for (int i = 0; i < 20; ++i) DigestsBegun({bytes});
}

}  // namespace
}  // namespace calseal
