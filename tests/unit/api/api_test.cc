// The public interface beside what it is made of: the same bytes, the same verdicts.
#include <gtest/gtest.h>

#include "calseal/api/calseal.h"
#include "calseal/base/text.h"
#include "support/small_job.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

constexpr const char* kTime = "2026-03-04T05:06:07Z";  // SmallJob's

std::vector<api::File> files_of(const SmallImage& image) {
  return {{"flash.bin", image.flash, "flash"}, {"eeprom.bin", image.eeprom, "eeprom"}};
}

class Api : public ::testing::Test {
 protected:
  Api() {
    shop.trust = {"shop.trust", job.trust_file(), ""};
    const std::string pem = *job.author.encrypted_pem("word");
    shop.keys = {*api::SigningKey::open({"author.key", Bytes(pem.begin(), pem.end()), ""}, "word")};
    shop.tool = "tests";
    shop.claimed_time = kTime;
    const std::string text = to_hex(job.salt) + "\n";
    salt = {"job.salt", Bytes(text.begin(), text.end()), ""};
  }

  api::Map map() const { return *api::Map::parse({"small.json", job.map.text, ""}); }
  api::BaseRequest base() const {
    return {map(), files_of(job.base), "job-7", "blue estate", salt, {"revision 0", "", {}, {}, ""}};
  }
  api::CheckRequest question(const Bytes& bundle) const {
    api::CheckRequest request;
    request.bundle = {"b.calseal", bundle, ""};
    request.trust = shop.trust;
    request.read = files_of(job.base);
    request.read_is_fresh = true;
    request.salt = salt;
    return request;
  }

  SmallJob job;
  api::Shop shop;
  api::File salt;
};

TEST_F(Api, AMapSaysWhatItIs) {
  EXPECT_EQ(map().name(), job.map.name);
  EXPECT_EQ(map().version(), job.map.version);
  EXPECT_EQ(map().controller(), job.map.controller);
  EXPECT_EQ(map().grade(), job.map.grade());
  EXPECT_EQ(map().digest(), job.map.digest);
  EXPECT_THAT(api::Map::parse({"none", {}, ""}), FailsWith(Reason::kFileEmpty));
}

TEST_F(Api, SealsTheBundleThatTheLayersSeal) {
  const auto sealed = api::seal(base(), shop);
  ASSERT_THAT(sealed, IsOk());
  EXPECT_EQ(sealed->bundle, job.seal_base()->file);
  EXPECT_EQ(sealed->revision, 0U);
  EXPECT_FALSE(sealed->incomplete);
}

TEST_F(Api, ARevisionGoesAllTheWay) {
  const auto way_back = api::seal(base(), shop);
  ASSERT_THAT(way_back, IsOk());
  SmallImage edited = job.base;
  edited.flash[0x44] = 9;
  api::RevisionRequest next{{"r0", way_back->bundle, ""}, {}, files_of(edited), true, salt, {}};
  const auto first = api::seal(next, shop);
  ASSERT_THAT(first, IsOk());
  EXPECT_EQ(first->revision, 1U);
  EXPECT_EQ(first->sequence, 2U);
  EXPECT_GT(first->changed_bytes, 1U);  // the edit, and its checksum
  next.parent = api::File{"r1", first->bundle, ""};
  const auto second = api::seal(next, shop);
  ASSERT_THAT(second, IsOk());
  EXPECT_EQ(second->revision, 2U);
  EXPECT_EQ(second->sequence, 3U);

  const api::Verdict verdict = api::check(question(second->bundle));
  ASSERT_EQ(verdict.outcome, api::Outcome::kAccepted) << verdict.report;
  EXPECT_EQ(verdict.identity, second->identity);
  correct_small(edited, {});
  ASSERT_EQ(verdict.files.size(), 2U);
  EXPECT_EQ(verdict.files[0].bytes, edited.flash);
  EXPECT_EQ(verdict.files[1].memory, "eeprom");
  EXPECT_TRUE(verdict.json.starts_with(R"({"calseal":"check/1","verdict":"accepted",)"));
}

TEST_F(Api, ARefusalNamesItsReason) {
  const auto sealed = api::seal(base(), shop);
  ASSERT_THAT(sealed, IsOk());
  api::CheckRequest request = question(sealed->bundle);
  request.bundle.bytes[100] ^= 1;
  EXPECT_EQ(api::check(request).reason->reason, Reason::kPrefixDamaged);
  request = question(sealed->bundle);
  request.salt->bytes = {'x'};
  EXPECT_EQ(api::check(request).reason->reason, Reason::kSaltWrong);
  request = question(sealed->bundle);
  request.seal_only = true;
  EXPECT_EQ(api::check(request).outcome, api::Outcome::kAuthentic);
}

TEST_F(Api, WhatCannotBeSealedIsAnError) {
  shop.claimed_time = "today";
  EXPECT_THAT(api::seal(base(), shop), FailsWith(Reason::kUsage, "claimed_time"));
  shop.claimed_time = kTime;
  const auto way_back = api::seal(base(), shop);
  ASSERT_THAT(way_back, IsOk());
  api::RevisionRequest next{{"r0", way_back->bundle, ""}, {}, files_of(job.base), true, {}, {}};
  EXPECT_THAT(api::seal(next, shop), FailsWith(Reason::kSaltWrong));
  next.salt = salt;
  next.edited[0].bytes[0x201] ^= 1;  // locked
  EXPECT_THAT(api::seal(next, shop), FailsWith(Reason::kChangeLocked));
  shop.keys.clear();
  EXPECT_THAT(api::seal(base(), shop), FailsWith(Reason::kUsage));
  EXPECT_THAT(api::SigningKey::open({"k", {1, 2, 3}, ""}, "word"), FailsWith(Reason::kKeyFileInvalid));
}

TEST_F(Api, CorrectsAndProves) {
  SmallImage edited = job.base;
  edited.flash[0x44] = 9;
  const auto corrected = api::correct(map(), files_of(edited), files_of(job.base));
  ASSERT_THAT(corrected, IsOk());
  correct_small(edited, {});
  EXPECT_EQ(corrected->files[0].bytes, edited.flash);
  EXPECT_FALSE(corrected->corrections.empty());
  edited.flash[0x201] ^= 1;
  EXPECT_THAT(api::correct(map(), files_of(edited), files_of(job.base)), FailsWith(Reason::kChangeLocked));
  EXPECT_THAT(api::correct(map(), files_of(edited)), IsOk());
}

}  // namespace
}  // namespace calseal
