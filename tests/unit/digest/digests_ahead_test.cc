// Digests that a second thread begins are those of one thread, in the order of their parts, whoever ends
// them.
#include "calseal/digest/digests_ahead.h"

#include <gtest/gtest.h>

#include <random>

namespace calseal {
namespace {

TEST(DigestsAhead, AreThoseOfEachPartInItsPlace) {
  const unsigned seed = std::random_device{}();
  SCOPED_TRACE("seed " + std::to_string(seed));
  std::mt19937 random(seed);
  for (int round = 0; round < 40; ++round) {
    std::vector<Bytes> parts(random() % 12);
    for (Bytes& part : parts) {
      part.resize(round % 4 == 0 ? random() % 100 : random() % 600000);
      for (std::size_t i = 0; i < part.size(); i += 97) part[i] = static_cast<std::uint8_t>(random());
    }
    std::vector<ByteView> views(parts.begin(), parts.end());
    std::vector<Sha256> expected;
    for (const Bytes& part : parts) expected.push_back(compute_sha256(part));
    EXPECT_EQ(compute_sha256_of_each(views), expected);
  }
}

TEST(DigestsAhead, CanBeGivenUpAtAnyTime) {
  const Bytes bytes(4000000, 0x5a);
  const ByteView whole(bytes);
  for (int i = 0; i < 20; ++i) {
    DigestsAhead({whole.first(1000000), whole.subspan(1000000, 500000), whole.subspan(1500000)});
  }
}

}  // namespace
}  // namespace calseal
