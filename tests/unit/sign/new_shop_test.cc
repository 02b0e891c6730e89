#include "calseal/sign/new_shop.h"

#include <gtest/gtest.h>

#include <set>

#include "calseal/sign/private_key.h"
#include "calseal/trust/trust_file.h"
#include "calseal/trust/withdrawal.h"
#include "support/matchers.h"

namespace calseal {
namespace {

const NewShopFile& file_of(const NewShop& shop, const std::string& name) {
  for (const NewShopFile& file : shop.files) {
    if (file.name == name) return file;
  }
  ADD_FAILURE() << "no " << name;
  return shop.files.front();
}

TEST(NewShop, ItsFilesAgree) {
  const auto shop = new_shop({"Example Shop", "first key", {1767225600}, "word", "root word"});
  ASSERT_THAT(shop, IsOk());
  const auto trust =
      parse_trust_file(view_of(file_of(*shop, "shop.trust").text), digest_text(shop->root), "t");
  ASSERT_THAT(trust, IsOk());
  EXPECT_EQ(trust->shop, "Example Shop");
  EXPECT_EQ(trust->version, 1u);
  EXPECT_EQ(trust->claimed_time, "2026-01-01T00:00:00Z");
  ASSERT_EQ(trust->keys.size(), 2u);
  EXPECT_EQ(trust->find(shop->author)->roles, std::vector{Role::kAuthor});
  EXPECT_EQ(trust->find(shop->author)->name, "first key");
  EXPECT_EQ(trust->find(shop->withdrawal)->roles, std::vector{Role::kWithdrawal});
  const auto list = parse_withdrawals(view_of(file_of(*shop, "withdrawn.list").text), *trust, "l");
  ASSERT_THAT(list, IsOk());
  EXPECT_EQ(list->number, 1u);
  EXPECT_TRUE(list->notices.empty());
  EXPECT_EQ(list->fresh_until, "2026-04-01T00:00:00Z");
  const std::set<std::string> secret{"root.key", "author.key", "withdrawal.key", "shop.json"};
  for (const NewShopFile& file : shop->files)
    EXPECT_EQ(file.mode == FileMode::kPrivate, secret.count(file.name) == 1) << file.name;
}

TEST(NewShop, KeysOpenUnderTheirOwnPassphrase) {
  const auto shop = new_shop({"Example Shop", "first key", {1767225600}, "word", "root word"});
  ASSERT_THAT(shop, IsOk());
  const auto opened = [&](const char* name, const char* word) {
    return PrivateKey::from_encrypted_pem(view_of(file_of(*shop, name).text), word, name);
  };
  EXPECT_EQ(opened("root.key", "root word")->id(), shop->root);
  EXPECT_EQ(opened("author.key", "word")->id(), shop->author);
  EXPECT_EQ(opened("withdrawal.key", "word")->id(), shop->withdrawal);
  EXPECT_THAT(opened("root.key", "word"), FailsWith(Reason::kPassphraseWrong));
  for (const char* name : {"author.key", "withdrawal.key"}) {
    const std::string pem = file_of(*shop, name + std::string(".pub")).text;
    EXPECT_EQ(*parse_public_key_pem(view_of(pem), name), opened(name, "word")->public_key());
  }
}

TEST(NewShop, NoPassphraseNoShop) {
  EXPECT_THAT(new_shop({"Example Shop", "first key", {1767225600}, "", "root word"}),
              FailsWith(Reason::kPassphraseMissing));
}

}  // namespace
}  // namespace calseal
