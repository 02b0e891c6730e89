// Sealing with options: whole, accounted for, or with a stated reason; what the manifest says then.
#include <gtest/gtest.h>

#include "calseal/check/check.h"
#include "calseal/sign/seal.h"
#include "support/matchers.h"
#include "support/small_job.h"

namespace calseal {
namespace {

// The small job, with its fuel area as items.
std::string with_items() {
  std::string text = small_map_text();
  return text.insert(
      text.rfind(",\"evidence\""),
      R"(,"items":[{"name":"boost","kind":"scalar","memory":"flash","start":"0x80000044","type":"u8","factor":"0.5","most":"100","unit":"kPa"},
{"name":"spark-axis","kind":"axis","memory":"flash","start":"0x80000110","type":"u8","points":4}])");
}

class SealAccount : public ::testing::Test {
 protected:
  SealAccount() {
    const std::string text = with_items();
    job.map = parse_region_map(Bytes(text.begin(), text.end()), "small.json").value();
    base = job.base;
    for (std::uint8_t i = 0; i < 4; ++i) base.flash[0x110u + i] = i;
    correct_small(base);
    job.base = base;
  }
  OptionFile option(std::string name, std::uint64_t address, std::uint8_t after) const {
    Option made;
    made.name = std::move(name);
    made.title = "Option";
    made.controller = "engine";
    made.region_map = "small";
    made.edits = {{"flash", "", address, {base.flash[address - kFlash]}, {after}}};
    const std::string text = write_option(made);
    return parse_option(Bytes(text.begin(), text.end()), made.name).value();
  }
  SmallImage with(std::size_t at, std::uint8_t value) const {
    SmallImage image = base;
    image.flash[at] = value;
    correct_small(image);
    return image;
  }
  Result<SealedBundle> sealed(const SealRequest& request) const {
    return seal(request, {job.author}, job.trust);
  }

  SmallJob job;
  SmallImage base;
};

TEST_F(SealAccount, NamesOptionsInTheManifest) {
  SealRequest request = job.request(1, with(0x44, 80));
  request.options = {option("more-boost", kFlash + 0x44, 80)};
  const auto bundle = sealed(request);
  ASSERT_THAT(bundle, IsOk());
  ASSERT_EQ(bundle->manifest.options.size(), 1U);
  EXPECT_EQ(bundle->manifest.options[0].name, "more-boost");
  EXPECT_EQ(bundle->manifest.options[0].digest, request.options[0].digest);
  EXPECT_TRUE(bundle->manifest.annotations.empty());
  EXPECT_EQ(job.check(bundle->file, base).outcome, Outcome::kAccepted);
}

TEST_F(SealAccount, RefusesWhatNoOptionClaimsUnlessAReasonIsStated) {
  SmallImage image = with(0x44, 80);
  image.flash[0x48] ^= 1;
  correct_small(image);
  SealRequest request = job.request(1, image);
  request.options = {option("more-boost", kFlash + 0x44, 80)};
  const auto refused = sealed(request);
  ASSERT_THAT(refused, FailsWith(Reason::kChangeUnaccounted));
  EXPECT_NE(refused.error().place.find("0x80000048"), std::string::npos);
  request.unaccounted_reason = "spare byte used for a test";
  const auto bundle = sealed(request);
  ASSERT_THAT(bundle, IsOk());
  EXPECT_EQ(bundle->manifest.annotations.at(0).first, "unaccounted");
  EXPECT_EQ(bundle->manifest.annotations.at(0).second, "spare byte used for a test");
  request.options.clear();
  request.unaccounted_reason.clear();
  EXPECT_THAT(sealed(request), IsOk());  // no account was asked for
  request.account = true;
  EXPECT_THAT(sealed(request), FailsWith(Reason::kChangeUnaccounted));
}

TEST_F(SealAccount, RefusesHalfAnOption) {
  SealRequest request = job.request(1, with(0x44, 80));
  request.options = {option("more-boost", kFlash + 0x44, 80), option("other", kFlash + 0x50, 1)};
  EXPECT_THAT(sealed(request), FailsWith(Reason::kOptionHalf));
}

TEST_F(SealAccount, ItemsBeyondTheirLimitsNeedAReason) {
  SealRequest request = job.request(1, with(0x44, 201));  // 100.5 kPa
  const auto refused = sealed(request);
  ASSERT_THAT(refused, FailsWith(Reason::kItemLimit));
  EXPECT_EQ(refused.error().found, "boost is 100.5 kPa, above 100 kPa");
  request.limits_reason = "measured on the bench";
  const auto bundle = sealed(request);
  ASSERT_THAT(bundle, IsOk());
  EXPECT_EQ(bundle->manifest.annotations.at(0).second, "measured on the bench");
  EXPECT_THAT(sealed(job.request(1, with(0x44, 200))), IsOk());
  EXPECT_THAT(sealed(job.request(1, with(0x112, 1))), FailsWith(Reason::kItemLimit));  // axis 0 1 1 3
}

}  // namespace
}  // namespace calseal
