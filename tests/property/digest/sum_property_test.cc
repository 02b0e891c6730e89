// Sums, Fletcher and Adler-32 against their plain definitions.
#include <gtest/gtest.h>

#include <algorithm>

#include "calseal/digest/sum.h"
#include "support/matchers.h"
#include "support/random.h"
#include "support/sum_reference.h"

namespace calseal {
namespace {

// Bytes that carry often: random, or all ff in places.
Bytes carrying(Random& random, std::size_t size) {
  Bytes data = random.bytes(size);
  if (random.coin())
    std::fill(data.begin(), data.begin() + static_cast<std::ptrdiff_t>(size / 2), std::uint8_t{0xff});
  return data;
}

template <typename Check>
void update_in_pieces(Random& random, ByteView data, Check& check) {
  while (!data.empty()) {
    const std::size_t piece = random.between(1, data.size());
    check.update(data.first(piece));
    data = data.subspan(piece);
  }
}

TEST(SumProperty, AgreesWithTheDefinitionForAllParameters) {
  Random random;
  for (const int unit : {8, 16, 32, 64}) {
    for (const ByteOrder order : {ByteOrder::kLittle, ByteOrder::kBig}) {
      for (const SumOperation operation :
           {SumOperation::kAdd, SumOperation::kAddEndAround, SumOperation::kXor}) {
        for (int accumulator = 8; accumulator <= 64; ++accumulator) {
          const SumParameters p{unit, order, operation, accumulator,
                                random.between(0, low_mask(accumulator))};
          if (!validate_sum(p)) {
            ASSERT_TRUE(operation == SumOperation::kXor && accumulator < unit);
            continue;
          }
          const Bytes data = carrying(random, random.between(0, 100));
          Sum sum(p);
          update_in_pieces(random, data, sum);
          ASSERT_EQ(sum.value(), reference::compute_sum(p, data))
              << unit << " " << accumulator << " " << static_cast<int>(operation) << " " << data.size();
        }
      }
    }
  }
}

TEST(SumProperty, EveryLengthUpTo300) {
  Random random;
  const Bytes data = random.bytes(308);
  for (const int unit : {8, 16, 32, 64}) {
    for (std::size_t length = 0; length <= 300; ++length) {
      const ByteView piece = ByteView(data).subspan(length % 8, length);
      for (const ByteOrder order : {ByteOrder::kLittle, ByteOrder::kBig}) {
        const SumParameters p{unit, order, SumOperation::kAdd, 32, 0};
        Sum sum(p);
        sum.update(piece);
        ASSERT_EQ(sum.value(), reference::compute_sum(p, piece)) << unit << " " << length;
      }
    }
  }
}

TEST(SumProperty, LongDataAgreesWithTheDefinition) {
  Random random;
  for (const int unit : {8, 16, 32, 64}) {
    for (const SumOperation operation :
         {SumOperation::kAdd, SumOperation::kAddEndAround, SumOperation::kXor}) {
      const int accumulator = static_cast<int>(random.between(static_cast<std::uint64_t>(unit), 64));
      const SumParameters p{unit, ByteOrder::kBig, operation, accumulator, low_mask(accumulator)};
      const Bytes data =
          carrying(random, random.between(1500000, 2500000));  // several of the library's chunks
      Sum sum(p);
      sum.update(data);
      ASSERT_EQ(sum.value(), reference::compute_sum(p, data))
          << unit << " " << accumulator << " " << data.size();
    }
  }
}

TEST(FletcherProperty, AgreesWithTheDefinition) {
  Random random;
  for (const int width : {16, 32}) {
    for (const ByteOrder order : {ByteOrder::kLittle, ByteOrder::kBig}) {
      for (std::size_t length = 0; length <= 300; ++length) {
        const Bytes data = carrying(random, length);
        Fletcher fletcher(width, order);
        update_in_pieces(random, data, fletcher);
        ASSERT_EQ(fletcher.value(), reference::compute_fletcher(width, order, data))
            << width << " " << length;
      }
      // Longer than the stretch between two divisions.
      const Bytes data(random.between(100000, 200000), 0xfe);
      Fletcher fletcher(width, order);
      fletcher.update(data);
      ASSERT_EQ(fletcher.value(), reference::compute_fletcher(width, order, data)) << data.size();
    }
  }
}

TEST(AdlerProperty, AgreesWithTheDefinition) {
  Random random;
  for (std::size_t length = 0; length <= 300; ++length) {
    const Bytes data = carrying(random, length);
    ASSERT_EQ(update_adler32(1, data), reference::compute_adler32(data)) << length;
  }
  const Bytes data = carrying(random, 300000);
  ASSERT_EQ(update_adler32(1, data), reference::compute_adler32(data));
}

TEST(SumProperty, TheComplementBalancesTheSum) {
  Random random;
  for (int round = 0; round < 200; ++round) {
    const int bits = static_cast<int>(random.between(1, 64));
    const std::uint64_t value = random.between(0, low_mask(bits));
    ASSERT_EQ((value + twos_complement(value, bits)) & low_mask(bits), 0U) << bits;
    ASSERT_EQ(value ^ ones_complement(value, bits), low_mask(bits)) << bits;
  }
}

}  // namespace
}  // namespace calseal
