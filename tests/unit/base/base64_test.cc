#include "calseal/base/base64.h"

#include <gtest/gtest.h>

namespace calseal {
namespace {

TEST(Base64, TheVectorsOfRfc4648Section10) {
  EXPECT_EQ(to_base64(view_of("")), "");
  EXPECT_EQ(to_base64(view_of("f")), "Zg==");
  EXPECT_EQ(to_base64(view_of("fo")), "Zm8=");
  EXPECT_EQ(to_base64(view_of("foo")), "Zm9v");
  EXPECT_EQ(to_base64(view_of("foob")), "Zm9vYg==");
  EXPECT_EQ(to_base64(view_of("fooba")), "Zm9vYmE=");
  EXPECT_EQ(to_base64(view_of("foobar")), "Zm9vYmFy");
}

TEST(Base64, TheLastTwoDigitsOfTheAlphabet) {
  const Bytes bytes{0xfb, 0xef, 0xff};
  EXPECT_EQ(to_base64(bytes), "++//");
}

}  // namespace
}  // namespace calseal
