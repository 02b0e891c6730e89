// solve_gf2 against trying every assignment.
#include <gtest/gtest.h>

#include <optional>
#include <vector>

#include "calseal/digest/gf2.h"
#include "support/random.h"

namespace calseal {
namespace {

BitVector random_bits(Random& random, std::size_t size, int chance_of_one_in) {
  BitVector bits(size);
  for (std::size_t i = 0; i < size; ++i) {
    bits.set(i, random.between(1, static_cast<std::uint64_t>(chance_of_one_in)) == 1);
  }
  return bits;
}

BitVector sum_of(const std::vector<BitVector>& columns, const BitVector& values, std::size_t equations) {
  BitVector sum(equations);
  for (std::size_t j = 0; j < columns.size(); ++j) {
    if (values.get(j)) sum ^= columns[j];
  }
  return sum;
}

TEST(Gf2Property, SmallSystemsAgreeWithTryingEverything) {
  Random random;
  int solved = 0;
  int unsolved = 0;
  for (int round = 0; round < 1500; ++round) {
    const std::size_t equations = random.between(0, 8);
    const std::size_t unknowns = random.between(0, 9);
    const int density = static_cast<int>(random.between(2, 5));
    std::vector<BitVector> columns;
    for (std::size_t j = 0; j < unknowns; ++j) columns.push_back(random_bits(random, equations, density));
    const BitVector target = random_bits(random, equations, density);

    int solutions = 0;
    std::optional<BitVector> least;  // smallest when the last unknown is the most significant digit
    for (std::size_t pattern = 0; pattern < (std::size_t{1} << unknowns); ++pattern) {
      BitVector values(unknowns);
      for (std::size_t j = 0; j < unknowns; ++j) values.set(j, (pattern >> j & 1U) != 0);
      if (sum_of(columns, values, equations) != target) continue;
      ++solutions;
      if (!least) least = values;
    }

    const Gf2System system(columns, equations);
    (void)system.solve(random_bits(random, equations, density));  // a target leaves nothing behind
    const auto found = system.solve(target);
    ASSERT_EQ(found.has_value(), solutions > 0);
    (found ? solved : unsolved) += 1;
    if (!found) continue;
    // Free unknowns depend on earlier ones, so with them 0 the solution is the least in this order.
    ASSERT_EQ(found->values, *least);
    ASSERT_EQ(found->unique, solutions == 1);
    ASSERT_EQ(solutions, 1 << (unknowns - system.rank()));
    ASSERT_EQ(solve_gf2(columns, target)->values, *least);
  }
  EXPECT_GT(solved, 100);
  EXPECT_GT(unsolved, 100);
}

TEST(Gf2Property, LargeSystemsBuiltFromASolutionAreSolved) {
  Random random;
  for (int round = 0; round < 20; ++round) {
    const std::size_t equations = random.between(1, 300);
    const std::size_t unknowns = random.between(1, 400);
    std::vector<BitVector> columns;
    for (std::size_t j = 0; j < unknowns; ++j) columns.push_back(random_bits(random, equations, 2));
    const BitVector target = sum_of(columns, random_bits(random, unknowns, 2), equations);
    const auto found = solve_gf2(columns, target);
    ASSERT_TRUE(found.has_value());
    ASSERT_EQ(sum_of(columns, found->values, equations), target);
    if (unknowns > equations) {
      ASSERT_FALSE(found->unique);
    }
  }
}

}  // namespace
}  // namespace calseal
