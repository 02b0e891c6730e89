#include "calseal/base/boxed.h"

#include <gtest/gtest.h>

#include <string>
#include <vector>

namespace calseal {
namespace {

using Words = std::vector<std::string>;

TEST(Boxed, CopiesAreApart) {
  Boxed<Words> first = Words{"oak"};
  Boxed<Words> second = first;
  second->push_back("elm");
  EXPECT_EQ(*first, Words{"oak"});
  EXPECT_EQ(*second, (Words{"oak", "elm"}));
  first = second;
  second.reset();
  EXPECT_FALSE(second);
  EXPECT_EQ(*first, (Words{"oak", "elm"}));
}

TEST(Boxed, ComparesWhatIsInIt) {
  const Boxed<Words> none;
  const Boxed<Words> empty = Words{};
  EXPECT_EQ(none, Boxed<Words>(std::nullopt));
  EXPECT_EQ(empty, Boxed<Words>(Words{}));
  EXPECT_NE(none, empty);
  EXPECT_NE(empty, Boxed<Words>(Words{"oak"}));
}

TEST(Boxed, GoesOverIntoAnOptionalAndBack) {
  const std::optional<Words> there = Words{"oak"};
  const Boxed<Words> boxed = there;
  EXPECT_EQ(std::optional<Words>(boxed), there);
  EXPECT_FALSE(std::optional<Words>(Boxed<Words>()).has_value());
}

}  // namespace
}  // namespace calseal
