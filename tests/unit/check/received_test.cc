// A read whose checks failed when it came: the way back restores it, and nothing else gains by that.
#include <gtest/gtest.h>

#include "support/forgery.h"
#include "support/matchers.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

class Received : public ::testing::Test {
 protected:
  Received() {
    job_.base.flash[0x141] ^= 1U;  // the checksum of spark
    job_.base.flash[0x1b0] ^= 1U;  // that of what was learned, which floats
    SealRequest request = job_.request(0, job_.base);
    request.as_received = true;
    auto sealed = seal(request, {job_.author}, job_.trust);
    if (!sealed) throw std::runtime_error(sealed.error().place + ": " + sealed.error().found);
    sealed_ = *std::move(sealed);
  }

  ManifestChecksum& claim(Forgery& forgery, std::string_view name) {
    return *std::ranges::find(forgery.controller().checksums, name, &ManifestChecksum::name);
  }

  SmallJob job_;
  SealedBundle sealed_;
};

TEST_F(Received, IsRestoredWithWhatFloatsMadeRight) {
  const Verdict verdict = job_.check(sealed_.file, job_.base);
  ASSERT_THAT(verdict, IsAccepted());
  SmallImage wanted = job_.base;
  wanted.flash[0x1b0] ^= 1U;
  EXPECT_EQ(rebuilt_small(verdict), wanted);
  const auto told = [&](std::string_view code) {
    return std::ranges::count(verdict.cautions, code, &Caution::code);
  };
  EXPECT_EQ(told("received-failing"), 1);
  EXPECT_EQ(told("shop"), 0);
  ASSERT_EQ(sealed_.manifest.cautions.size(), 1U);
  EXPECT_EQ(
      sealed_.manifest.cautions[0],
      "2 of 5 checksums and copies do not hold in the read as it was received; the way back restores it "
      "so: spark, learned");
}

TEST_F(Received, IsRestoredFromALaterRevisionToo) {
  SmallImage later = edited_small(driven_small(job_.base, 0x77), 9);
  const Verdict verdict = job_.check(sealed_.file, later);
  ASSERT_THAT(verdict, IsAccepted());
  const SmallImage back = rebuilt_small(verdict);
  EXPECT_TRUE(std::equal(back.flash.begin(), back.flash.begin() + 0x180, job_.base.flash.begin()));
  EXPECT_TRUE(
      std::equal(back.flash.begin() + 0x180, back.flash.begin() + 0x1b0, later.flash.begin() + 0x180));
}

TEST_F(Received, ClaimsMustBeWhatTheBytesSay) {
  // Said to hold: refused for what it is.
  Forgery forgery = take_apart(sealed_);
  claim(forgery, "spark").state = CheckState::kHolds;
  EXPECT_THAT(job_.check(put_together(forgery, {job_.author}), job_.base),
              IsRefusedAt(Reason::kChecksumFails, "spark"));
  // Said to fail, and it holds.
  forgery = take_apart(sealed_);
  claim(forgery, "fuel").state = CheckState::kFails;
  EXPECT_THAT(job_.check(put_together(forgery, {job_.author}), job_.base), IsRefused(Reason::kClaimMismatch));
}

TEST_F(Received, IsNoBaseForARevision) {
  SealRequest request = job_.request(1, edited_small(job_.base, 9));
  request.as_received = true;
  EXPECT_THAT(seal(request, {job_.author}, job_.trust), FailsWith(Reason::kMapNotBelieved));
}

}  // namespace
}  // namespace calseal
