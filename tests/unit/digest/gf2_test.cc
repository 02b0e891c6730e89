#include "calseal/digest/gf2.h"

#include <gmock/gmock.h>

#include <string_view>

namespace calseal {
namespace {

BitVector bits(std::string_view text) {
  BitVector out(text.size());
  for (std::size_t i = 0; i < text.size(); ++i) out.set(i, text[i] == '1');
  return out;
}

TEST(BitVector, FindsItsFirstSetBit) {
  EXPECT_EQ(bits("0010").first_set(), 2U);
  EXPECT_EQ(bits("0000").first_set(), 4U);
  EXPECT_EQ(BitVector().first_set(), 0U);
  BitVector wide(200);
  EXPECT_EQ(wide.first_set(), 200U);
  wide.set(130, true);
  EXPECT_EQ(wide.first_set(), 130U);
}

TEST(SolveGf2, OneSolution) {
  const auto solution = solve_gf2({bits("110"), bits("011"), bits("001")}, bits("101"));
  ASSERT_TRUE(solution.has_value());
  EXPECT_EQ(solution->values, bits("110"));
  EXPECT_TRUE(solution->unique);
}

TEST(SolveGf2, NoSolution) { EXPECT_FALSE(solve_gf2({bits("110"), bits("011")}, bits("100")).has_value()); }

TEST(SolveGf2, LaterUnknownsStayZeroWhereThereIsChoice) {
  const auto solution = solve_gf2({bits("10"), bits("10"), bits("01"), bits("11")}, bits("11"));
  ASSERT_TRUE(solution.has_value());
  EXPECT_EQ(solution->values, bits("1010"));
  EXPECT_FALSE(solution->unique);
}

TEST(SolveGf2, NoUnknownsOrNoEquations) {
  EXPECT_FALSE(solve_gf2({}, bits("1")).has_value());
  const auto empty = solve_gf2({}, bits("0"));
  ASSERT_TRUE(empty.has_value());
  EXPECT_TRUE(empty->unique);
  const auto free = solve_gf2({BitVector(0), BitVector(0)}, BitVector(0));
  ASSERT_TRUE(free.has_value());
  EXPECT_EQ(free->values, bits("00"));
  EXPECT_FALSE(free->unique);
}

}  // namespace
}  // namespace calseal
