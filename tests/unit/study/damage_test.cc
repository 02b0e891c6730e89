#include "calseal/study/damage.h"

#include <gmock/gmock.h>

#include <cmath>

#include "calseal/image/entropy.h"

namespace calseal {
namespace {

TEST(Entropy, TextbookValues) {
  // Shannon, "A Mathematical Theory of Communication" (1948), section 6: a fair choice of two is 1 bit, of
  // 2^n equal ones n bits; section 7's source with 1/2, 1/4, 1/8, 1/8 has 7/4 bits per symbol.
  EXPECT_DOUBLE_EQ(entropy(Bytes{0, 1}), 1.0);
  EXPECT_DOUBLE_EQ(entropy(Bytes{'A', 'A', 'A', 'A', 'B', 'B', 'C', 'D'}), 1.75);
  Bytes all(256);
  for (std::size_t i = 0; i < all.size(); ++i) all[i] = static_cast<std::uint8_t>(i);
  EXPECT_DOUBLE_EQ(entropy(all), 8.0);
  EXPECT_DOUBLE_EQ(entropy(Bytes(100, 7)), 0.0);
  EXPECT_DOUBLE_EQ(entropy({}), 0.0);
  // The binary entropy of 1/4, -(1/4)log2(1/4) - (3/4)log2(3/4).
  EXPECT_NEAR(entropy(Bytes{1, 0, 0, 0}), 0.811278, 1e-6);
}

TEST(Swapped, WholeGroupsAndTail) {
  EXPECT_EQ(swapped(Bytes{1, 2, 3, 4, 5}, 2), (Bytes{2, 1, 4, 3, 5}));
  EXPECT_EQ(swapped(Bytes{1, 2, 3, 4, 5, 6}, 4), (Bytes{4, 3, 2, 1, 5, 6}));
}

TEST(MirrorPeriod, LeastPeriodOfTheWhole) {
  Bytes quarter(1024);
  for (std::size_t i = 0; i < quarter.size(); ++i) quarter[i] = static_cast<std::uint8_t>(i * i / 7);
  Bytes bytes;
  for (int i = 0; i < 4; ++i) bytes.insert(bytes.end(), quarter.begin(), quarter.end());
  EXPECT_EQ(mirror_period(bytes), 1024U);
  bytes[3000] ^= 1;
  EXPECT_EQ(mirror_period(bytes), std::nullopt);
  EXPECT_EQ(mirror_period(Bytes(4096, 0xff)), std::nullopt);
}

}  // namespace
}  // namespace calseal
