#include "calseal/sign/shop_file.h"

#include <gtest/gtest.h>
#include <sys/stat.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "support/matchers.h"

namespace calseal {
namespace {

namespace fs = std::filesystem;

constexpr const char* kText = R"({
  "calseal": "shop/1",
  "name": "Example Shop",
  "trust": "shop.trust",
  "author_keys": ["author.key", "/mnt/stick/second.key"],
  "withdrawal_keys": ["withdrawal.key"],
  "regions": ["regions", "more/engine.json"],
  "stocks": "stocks"
})";

// A folder of ours with folders below it, gone at the end.
class ShopFile : public ::testing::Test {
 protected:
  void SetUp() override {
    std::string name = (fs::temp_directory_path() / "calseal-shop.XXXXXX").string();
    ASSERT_NE(::mkdtemp(name.data()), nullptr);
    top_ = fs::canonical(name);
    fs::create_directories(top_ / "jobs/oak-17");
  }
  void TearDown() override { fs::remove_all(top_); }

  std::string put(const fs::path& at, const std::string& text = kText) {
    const fs::path path = top_ / at;
    std::ofstream(path) << text;
    ::chmod(path.c_str(), 0644);
    return path.string();
  }
  std::string at(const std::string& path) const { return (top_ / path).string(); }
  Result<std::optional<Shop>> found_from(const std::string& folder) const {
    return find_shop({"", "", at(folder)});
  }

  fs::path top_;
};

TEST_F(ShopFile, PathsAreBelowItsFolder) {
  const std::string path = put("shop.json");
  const auto shop = read_shop(path);
  ASSERT_THAT(shop, IsOk());
  EXPECT_EQ(shop->file, path);
  EXPECT_EQ(shop->name, "Example Shop");
  EXPECT_EQ(shop->trust, at("shop.trust"));
  EXPECT_EQ(shop->author_keys, (std::vector<std::string>{at("author.key"), "/mnt/stick/second.key"}));
  EXPECT_EQ(shop->withdrawal_keys, std::vector{at("withdrawal.key")});
  EXPECT_EQ(shop->regions, (std::vector{at("regions"), at("more/engine.json")}));
  EXPECT_EQ(shop->stocks, at("stocks"));
  EXPECT_EQ(shop->ledger_key, "");
  EXPECT_EQ(shop->withdrawals, "");
}

TEST_F(ShopFile, WhatIsWrittenIsRead) {
  Shop shop;
  shop.name = "Example \"Shop\"";
  shop.author_keys = {"/a.key", "/b.key"};
  shop.trust = "/shop.trust";
  shop.ledger_key = "/ledger.key";
  shop.withdrawals = "/withdrawn.list";
  const auto read = read_shop(put("shop.json", write_shop(shop)));
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(write_shop(*read), write_shop(shop));
  EXPECT_EQ(read->author_keys, shop.author_keys);
  EXPECT_EQ(read->ledger_key, shop.ledger_key);
  EXPECT_EQ(read->stocks, "");
}

TEST_F(ShopFile, WhatWasStatedComesFirstThenTheEnvironmentThenTheNearest) {
  const std::string top = put("shop.json");
  const std::string near = put("jobs/shop.json");
  const std::string other = put("other.json");
  const auto file = [](const ShopSearch& search) {
    const auto shop = find_shop(search);
    return shop && *shop ? (*shop)->file : "none";
  };
  EXPECT_EQ(file({top, other, at("jobs/oak-17")}), top);
  EXPECT_EQ(file({"", other, at("jobs/oak-17")}), other);
  EXPECT_EQ(file({"", "", at("jobs/oak-17")}), near);
  EXPECT_EQ(file({"", "", at("jobs/oak-17/not/made/yet")}), near);
  EXPECT_EQ(file({"", "", at("elsewhere")}), top);
  fs::remove(near);
  EXPECT_EQ(file({"", "", at("jobs/oak-17/")}), top);
  fs::remove(top);
  EXPECT_EQ(file({"", "", at("jobs/oak-17")}), "none");
}

TEST_F(ShopFile, AFileThatIsNamedMustBeThere) {
  EXPECT_THAT(find_shop({at("no.json"), "", ""}), FailsWith(Reason::kFileMissing));
  EXPECT_THAT(find_shop({"", at("no.json"), ""}), FailsWith(Reason::kFileMissing));
}

TEST_F(ShopFile, AFileThatIsFoundIsNeverPassedOver) {
  put("shop.json");
  const auto refused = [&](const std::string& text, Reason reason) {
    put("jobs/shop.json", text);
    EXPECT_THAT(found_from("jobs/oak-17"), FailsWith(reason)) << text;
  };
  refused("", Reason::kFileEmpty);
  refused("no JSON", Reason::kJsonSyntax);
  refused(R"({"name":"x","trust":"t"})", Reason::kJsonMissingKey);
  refused(R"({"calseal":"trust/1","name":"x","trust":"t"})", Reason::kTypeWrong);
  refused(R"({"calseal":"shop/2","name":"x","trust":"t"})", Reason::kFormatUnknown);
  refused(R"({"calseal":"shop/1","trust":"t"})", Reason::kJsonMissingKey);
  refused(R"({"calseal":"shop/1","name":"x"})", Reason::kJsonMissingKey);
  refused(R"({"calseal":"shop/1","name":"x","trust":""})", Reason::kJsonValue);
  refused(R"({"calseal":"shop/1","name":"x","trust":"a\u0000b"})", Reason::kJsonValue);
  refused(R"({"calseal":"shop/1","name":"x","trust":"t","run":"it"})", Reason::kJsonUnknownKey);
  refused(R"({"calseal":"shop/1","name":"x","trust":["t"]})", Reason::kJsonType);
  refused(std::string(kShopFileLimit + 1, ' '), Reason::kFileTooLarge);
  fs::remove(top_ / "jobs/shop.json");
  fs::create_directory(top_ / "jobs/shop.json");
  EXPECT_THAT(found_from("jobs/oak-17"), FailsWith(Reason::kFileUnreadable));
}

TEST_F(ShopFile, NobodyElseMayHaveWrittenIt) {
  const std::string path = put("shop.json");
  for (const mode_t mode : {0664, 0646, 0622}) {
    ASSERT_EQ(::chmod(path.c_str(), mode), 0);
    EXPECT_THAT(read_shop(path), FailsWith(Reason::kShopFileForeign));
  }
  ASSERT_EQ(::chmod(path.c_str(), 0600), 0);
  EXPECT_THAT(read_shop(path), IsOk());
  // Others could put another trust file beside it.
  ASSERT_EQ(::chmod(top_.c_str(), 01777), 0);
  EXPECT_THAT(read_shop(path), FailsWith(Reason::kShopFileForeign));
  ASSERT_EQ(::chmod(top_.c_str(), 0775), 0);
  EXPECT_THAT(read_shop(path), IsOk());
}

TEST_F(ShopFile, AnotherUsersIsRefusedAndSoIsHisLinkToOurs) {
  if (::geteuid() != 0) GTEST_SKIP() << "only root can give a file away";
  const std::string path = put("shop.json");
  ASSERT_EQ(::chown(path.c_str(), 12345, 12345), 0);
  const auto refused = read_shop(path);
  EXPECT_THAT(refused, FailsWith(Reason::kShopFileForeign));
  EXPECT_EQ(refused.error().found, "the property of user 12345");
  ASSERT_EQ(::chown(path.c_str(), 0, 0), 0);
  const std::string link = at("jobs/shop.json");
  fs::create_symlink(path, link);
  const auto through = read_shop(link);
  ASSERT_THAT(through, IsOk());
  EXPECT_EQ(through->trust, at("shop.trust"));  // below the folder of the file, not of the link
  ASSERT_EQ(::lchown(link.c_str(), 12345, 12345), 0);
  EXPECT_THAT(read_shop(link), FailsWith(Reason::kShopFileForeign));
  fs::remove(link);
  ASSERT_EQ(::chown(top_.c_str(), 12345, 12345), 0);
  EXPECT_THAT(read_shop(path), FailsWith(Reason::kShopFileForeign));
}

}  // namespace
}  // namespace calseal
