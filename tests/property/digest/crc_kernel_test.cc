// Every CRC kernel that this processor runs against plain long division.
#include <gtest/gtest.h>

#include <vector>

#include "calseal/digest/crc.h"
#include "support/crc_reference.h"
#include "support/crc_vectors.h"
#include "support/fenced.h"
#include "support/random.h"

namespace calseal {
namespace {

constexpr std::size_t kLongest = 1024;

// The catalogue, and random parameters of every width, both ways of feeding bytes.
std::vector<CrcParameters> many_algorithms(Random& random) {
  std::vector<CrcParameters> all = catalogue_parameters();
  for (int width = 3; width <= 64; ++width) {
    for (const bool refin : {false, true}) {
      all.push_back(random_crc(random, width));
      all.back().refin = refin;
    }
  }
  return all;
}

class CrcKernels : public ::testing::TestWithParam<CrcKernel> {
 protected:
  void SetUp() override {
    if (!crc_kernel_available(GetParam())) GTEST_SKIP() << "this processor has no such instructions";
  }
  Crc with_kernel(const CrcParameters& p) const { return Crc(p, GetParam()); }
};

TEST_P(CrcKernels, EveryLengthOfEveryAlgorithmAgreesWithLongDivision) {
  Random random;
  std::size_t alignment = 0;
  for (const CrcParameters& p : many_algorithms(random)) {
    alignment = (alignment + 1) % 64;
    Bytes data = random.bytes(alignment + kLongest);
    const ByteView message = ByteView(data).subspan(alignment);
    const std::vector<std::uint64_t> expected = reference::compute_prefix_crcs(p, message);
    const Crc crc = with_kernel(p);
    for (std::size_t length = 0; length <= kLongest; ++length) {
      ASSERT_EQ(crc.compute(message.first(length)), expected[length]) << describe(p) << ", length " << length;
    }
  }
}

TEST_P(CrcKernels, EveryAlignmentAgreesWithLongDivision) {
  Random random;
  for (const bool refin : {false, true}) {
    CrcParameters p = random_crc(random, static_cast<int>(random.between(3, 64)));
    p.refin = refin;
    const Bytes message = random.bytes(kLongest);
    const std::vector<std::uint64_t> expected = reference::compute_prefix_crcs(p, message);
    const Crc crc = with_kernel(p);
    alignas(64) std::uint8_t room[64 + kLongest];
    for (std::size_t alignment = 0; alignment < 64; ++alignment) {
      std::copy(message.begin(), message.end(), room + alignment);
      // A step that shares no factor with any block size, so that all remainders come about.
      for (std::size_t length = alignment % 7; length <= kLongest; length += 7) {
        ASSERT_EQ(crc.compute(ByteView(room + alignment, length)), expected[length])
            << describe(p) << ", length " << length << ", alignment " << alignment;
      }
    }
  }
}

TEST_P(CrcKernels, ReadsNothingBesideTheMessage) {
  Random random;
  Fenced fenced;
  for (const bool refin : {false, true}) {
    CrcParameters p = random_crc(random, static_cast<int>(random.between(3, 64)));
    p.refin = refin;
    const Bytes message = random.bytes(kLongest);
    const std::vector<std::uint64_t> expected = reference::compute_prefix_crcs(p, message);
    const Crc crc = with_kernel(p);
    for (std::size_t length = 0; length <= kLongest; ++length) {
      const ByteView part = ByteView(message).first(length);
      ASSERT_EQ(crc.compute(fenced.at_start(part)), expected[length]) << describe(p) << ", length " << length;
      ASSERT_EQ(crc.compute(fenced.at_end(part)), expected[length]) << describe(p) << ", length " << length;
    }
  }
}

TEST_P(CrcKernels, StreamsSplitAnywhereGiveTheWhole) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    const Crc crc = with_kernel(p);
    const Bytes data = random.bytes(random.between(0, 2500));
    // Short pieces in one stream, long ones in another.
    const std::uint64_t longest = random.coin() ? 40 : data.size();
    std::uint64_t state = crc.start();
    for (ByteView left = data; !left.empty();) {
      const std::size_t piece = random.between(0, std::min<std::uint64_t>(longest, left.size()));
      state = crc.update(state, left.first(piece));
      left = left.subspan(piece);
    }
    ASSERT_EQ(crc.finish(state), reference::compute_crc(p, data)) << describe(p);
  }
}

TEST_P(CrcKernels, LongMessagesAgreeWithLongDivision) {
  Random random;
  for (int round = 0; round < 8; ++round) {
    CrcParameters p = random_crc(random, static_cast<int>(random.between(3, 64)));
    p.refin = round % 2 != 0;
    const Bytes data = random.bytes(random.between(10000, 40000));
    ASSERT_EQ(with_kernel(p).compute(data), reference::compute_crc(p, data)) << describe(p);
  }
}

TEST_P(CrcKernels, PolynomialsOfFewAndOfManyTerms) {
  Random random;
  for (int width = 3; width <= 64; ++width) {
    const std::uint64_t all = ~std::uint64_t{0} >> (64 - width);
    for (const std::uint64_t poly : {std::uint64_t{1}, (all >> 1) + 2, all}) {
      const CrcParameters p{width, poly | 1U, all, random.coin(), random.coin(), 0};
      const Bytes data = random.bytes(random.between(64, 700));
      ASSERT_EQ(with_kernel(p).compute(data), reference::compute_crc(p, data)) << describe(p);
    }
  }
}

TEST_P(CrcKernels, ShortcutsAgreeWithTheTables) {
  Random random;
  for (const CrcParameters& p : many_algorithms(random)) {
    const Crc crc = with_kernel(p);
    const Crc tables(p, CrcKernel::kTable);
    const std::uint64_t most = ~std::uint64_t{0} >> (64 - p.width);
    const std::uint64_t a = random.between(0, most);
    const std::uint64_t b = random.between(0, most);
    const std::uint64_t length = random.between(0, ~std::uint64_t{0});
    ASSERT_EQ(crc.combine(a, b, length), tables.combine(a, b, length))
        << describe(p) << ", length " << length;
    const std::uint64_t powers = crc.shift(1, length);
    ASSERT_EQ(powers, tables.shift(1, length)) << describe(p) << ", length " << length;
    ASSERT_EQ(crc.byte_effects(powers), tables.byte_effects(powers)) << describe(p);
    ASSERT_EQ(crc.residue(), tables.residue()) << describe(p);
  }
}

TEST(CrcKernel, TheTableIsThereAndTheBestIsAvailable) {
  EXPECT_TRUE(crc_kernel_available(CrcKernel::kTable));
  EXPECT_TRUE(crc_kernel_available(best_crc_kernel()));
}

std::string kernel_name(const ::testing::TestParamInfo<CrcKernel>& kernel) {
  static constexpr const char* kNames[] = {"Table", "Fold128", "Fold256", "Fold512"};
  return kNames[static_cast<int>(kernel.param)];
}

INSTANTIATE_TEST_SUITE_P(All, CrcKernels,
                         ::testing::Values(CrcKernel::kTable, CrcKernel::kFold128, CrcKernel::kFold256,
                                           CrcKernel::kFold512),
                         kernel_name);

}  // namespace
}  // namespace calseal
