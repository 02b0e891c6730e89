#include "calseal/base/near_words.h"

#include <gmock/gmock.h>

namespace calseal {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

TEST(NearWords, CountsWhatWasMistyped) {
  EXPECT_EQ(edit_distance("", ""), 0);
  EXPECT_EQ(edit_distance("check", "check"), 0);
  EXPECT_EQ(edit_distance("", "check"), 5);
  EXPECT_EQ(edit_distance("chek", "check"), 1);
  EXPECT_EQ(edit_distance("checkk", "check"), 1);
  EXPECT_EQ(edit_distance("chack", "check"), 1);
  EXPECT_EQ(edit_distance("hceck", "check"), 1);
  EXPECT_EQ(edit_distance("kitten", "sitting"), 3);
}

TEST(NearWords, NamesTheNearestAndNoOther) {
  EXPECT_THAT(near_words("chek", {"checksums", "check", "seal", "shop"}), ElementsAre("check"));
  EXPECT_THAT(near_words("--forc", {"--force", "--for", "--name"}), ElementsAre("--force", "--for"));
  EXPECT_THAT(near_words("repair", {"checksums", "check", "seal", "shop"}), IsEmpty());
  EXPECT_THAT(near_words("ab1", {"ab2", "ab3", "ab2", "ab4", "ab5"}), ElementsAre("ab2", "ab3", "ab4"));
  EXPECT_THAT(near_words("-x", {"-o"}), IsEmpty());
  EXPECT_THAT(near_words("chek", {}), IsEmpty());
  EXPECT_THAT(near_words(std::string(100000, 'a'), {std::string(100000, 'a')}), IsEmpty());
}

TEST(NearWords, NamesWhatContainsTheWord) {
  EXPECT_THAT(near_words("torque", {"torque-limit-gear-3", "idle-speed", "max-torque-cold"}),
              ElementsAre("torque-limit-gear-3", "max-torque-cold"));
  EXPECT_THAT(near_words("to", {"torque-limit-gear-3"}), IsEmpty());
}

TEST(NearWords, Asks) {
  EXPECT_EQ(did_you_mean({}), "");
  EXPECT_EQ(did_you_mean({"check"}), "did you mean \"check\"?");
  EXPECT_EQ(did_you_mean({"a", "b", "c\n"}), "did you mean \"a\", \"b\" or \"c\\u000a\"?");
}

}  // namespace
}  // namespace calseal
