#include "calseal/sign/next_version.h"

#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <map>
#include <sstream>

#include "support/matchers.h"

namespace calseal {
namespace {

namespace fs = std::filesystem;

class NextVersion : public ::testing::Test {
 protected:
  void SetUp() override {
    std::string name = (fs::temp_directory_path() / "calseal-next.XXXXXX").string();
    ASSERT_NE(::mkdtemp(name.data()), nullptr);
    top_ = name;
  }
  void TearDown() override { fs::remove_all(top_); }

  void put(const std::string& name, const std::string& text) const { std::ofstream(top_ / name) << text; }
  // Names and texts of all files.
  std::map<std::string, std::string> files() const {
    std::map<std::string, std::string> found;
    for (const auto& entry : fs::directory_iterator(top_)) {
      std::ostringstream text;
      text << std::ifstream(entry.path()).rdbuf();
      found[entry.path().filename().string()] = text.str();
    }
    return found;
  }
  Result<std::string> next(std::uint64_t number, const std::string& before, const std::string& text,
                           const std::string& name = "shop.trust") const {
    return write_next_version({(top_ / name).string()}, {number, root_, view_of(before)}, view_of(text));
  }

  fs::path top_;
  Sha256 root_{};
};

using Files = std::map<std::string, std::string>;

TEST_F(NextVersion, TheNameStaysAndAllBeforeAreKept) {
  put("shop.trust", "one");
  EXPECT_THAT(next(1, "one", "two"), IsOkAnd(::testing::Eq((top_ / "shop-v1.trust").string())));
  EXPECT_THAT(next(2, "two", "three"), IsOk());
  EXPECT_EQ(files(), (Files{{"shop.trust", "three"}, {"shop-v1.trust", "one"}, {"shop-v2.trust", "two"}}));
}

TEST_F(NextVersion, ANameWithoutAnExtension) {
  put("list", "one");
  EXPECT_THAT(next(7, "one", "two", "list"), IsOk());
  EXPECT_EQ(files(), (Files{{"list", "two"}, {"list-v7", "one"}}));
}

TEST_F(NextVersion, ARunThatWasKilledInBetweenIsRunAgain) {
  put("shop.trust", "one");
  put("shop-v1.trust", "one");
  EXPECT_THAT(next(1, "one", "two"), IsOk());
  EXPECT_EQ(files(), (Files{{"shop.trust", "two"}, {"shop-v1.trust", "one"}}));
}

TEST_F(NextVersion, UnderALaterRootTheNumbersBeginAgain) {
  put("shop.trust", "one of the second root");
  put("shop-v1.trust", "one of the first root");
  root_.bytes[0] = 0xab;
  EXPECT_THAT(next(1, "one of the second root", "two of the second root"), IsOk());
  EXPECT_EQ(files(), (Files{{"shop.trust", "two of the second root"},
                            {"shop-v1.trust", "one of the first root"},
                            {"shop-v1-ab000000.trust", "one of the second root"}}));
}

TEST_F(NextVersion, NothingIsReplacedThatWasNotRead) {
  put("shop.trust", "somebody was quicker");
  EXPECT_THAT(next(1, "one", "two"), FailsWith(Reason::kOutputExists));
  put("shop.trust", "one");
  put("shop-v1.trust", "another");
  put("shop-v1-00000000.trust", "another");
  const Files before = files();
  EXPECT_THAT(next(1, "one", "two"), FailsWith(Reason::kOutputExists));
  EXPECT_EQ(files(), before);
  fs::remove(top_ / "shop.trust");
  EXPECT_THAT(next(1, "one", "two"), FailsWith(Reason::kOutputExists));
}

TEST_F(NextVersion, ElsewhereNothingIsReplaced) {
  put("shop.trust", "one");
  const auto to = [&](const char* name) {
    return write_next_version({(top_ / "shop.trust").string(), (top_ / name).string()},
                              {1, root_, view_of("one")}, view_of("two"));
  };
  EXPECT_THAT(to("shop.trust"), FailsWith(Reason::kOutputExists));
  EXPECT_THAT(to("shop-2.trust"), IsOkAnd(::testing::Eq("")));
  EXPECT_EQ(files(), (Files{{"shop.trust", "one"}, {"shop-2.trust", "two"}}));
}

TEST_F(NextVersion, OtherFilesGoWithItOrNoneDoes) {
  put("shop.trust", "one");
  put("taken", "old");
  const Files before = files();
  const std::string more = "more";
  const auto with = [&](const char* name) {
    return write_next_version(
        {(top_ / "shop.trust").string()}, {1, root_, view_of("one")}, view_of("two"),
        {{(top_ / name).string(), view_of(more), FileMode::kPublic, Existing::kRefuse}});
  };
  EXPECT_THAT(with("taken"), FailsWith(Reason::kOutputExists));
  EXPECT_EQ(files(), before);
  EXPECT_THAT(with("free"), IsOk());
  EXPECT_EQ(files(),
            (Files{{"shop.trust", "two"}, {"shop-v1.trust", "one"}, {"taken", "old"}, {"free", "more"}}));
}

}  // namespace
}  // namespace calseal
