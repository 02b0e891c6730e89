// What the trust file, the signatures and the clock make of a bundle, through the whole checker.
#include <gtest/gtest.h>

#include "calseal/trust/spoken_code.h"
#include "support/forgery.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

class TrustVerdict : public ::testing::Test {
 protected:
  TrustVerdict() {
    auto sealed = job_.seal_revision(1, edited_small(job_.base, 9));
    if (!sealed) throw std::runtime_error(sealed.error().place);
    sealed_ = *std::move(sealed);
  }
  Verdict check() const { return job_.check(sealed_.file, job_.base); }

  SmallJob job_;
  SealedBundle sealed_;
};

TEST_F(TrustVerdict, RootAsStated) {
  CheckRequest request = job_.check_request(sealed_.file, job_.base);
  request.stated_root = spoken_code(Spoken::kKey, job_.root.id());
  const Verdict verdict = check_bundle(request);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_EQ(verdict.root_fingerprint, request.stated_root);
  EXPECT_FALSE(has_caution(verdict, "root-not-confirmed"));
  request.stated_root = spoken_code(Spoken::kKey, job_.author.id());
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kRootMismatch));
}

TEST_F(TrustVerdict, DamagedTrustFile) {
  CheckRequest request = job_.check_request(sealed_.file, job_.base);
  request.trust[request.trust.size() / 2] ^= 1U;
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kTrustInvalid));
  request.trust = sealed_.file;
  EXPECT_THAT(check_bundle(request), IsRefused(Reason::kTypeWrong));
}

TEST_F(TrustVerdict, KeyCompromised) {
  job_.author_entry().compromised = true;
  EXPECT_THAT(check(), IsRefused(Reason::kKeyCompromised));
}

TEST_F(TrustVerdict, KeyOutOfScope) {
  job_.author_entry().jobs = {"job-8"};
  EXPECT_THAT(check(), IsRefused(Reason::kKeyScope));
  job_.author_entry().jobs = {"job-7"};
  EXPECT_THAT(check(), IsAccepted());
  job_.author_entry().controllers = {"transmission"};
  EXPECT_THAT(check(), IsRefused(Reason::kKeyScope));
  job_.author_entry().controllers = {};
  job_.author_entry().region_maps = {compute_sha256(view_of("another"))};
  EXPECT_THAT(check(), IsRefused(Reason::kKeyScope));
}

TEST_F(TrustVerdict, KeyOutOfItsValidity) {
  job_.author_entry().valid_from = "2026-03-04T05:06:08Z";
  EXPECT_THAT(check(), IsRefused(Reason::kKeyValidity));
  job_.author_entry().valid_from = "2026-03-04T05:06:07Z";
  EXPECT_THAT(check(), IsAccepted());
  job_.author_entry().valid_until = "2026-03-05T00:00:00Z";
  EXPECT_THAT(check(), IsAccepted());
  job_.author_entry().valid_from = "2026-01-01T00:00:00Z";
  job_.author_entry().valid_until = "2026-03-04T05:06:07Z";
  EXPECT_THAT(check(), IsRefused(Reason::kKeyValidity));
}

TEST_F(TrustVerdict, SignerUnknown) {
  std::erase_if(job_.trust.keys, [&](const TrustedKey& key) { return key.id == job_.author.id(); });
  EXPECT_THAT(check(), IsRefused(Reason::kSignerUnknown));
}

TEST_F(TrustVerdict, AStrangersSignatureBesideATrueOne) {
  EXPECT_THAT(job_.check(put_together(take_apart(sealed_), {job_.author, job_.stranger}), job_.base),
              IsRefused(Reason::kSignerUnknown));
}

TEST_F(TrustVerdict, SignatureOverOtherBytes) {
  const Forgery forgery = take_apart(sealed_);
  const auto prefix = read_prefix(sealed_.file, "b");
  PrefixSignature other = *job_.author.sign(view_of("other bytes"));
  std::vector<PackedEntry> packed;
  std::vector<ByteView> stored;
  for (std::size_t i = 0; i < forgery.contents.size(); ++i) {
    const auto& entry = forgery.manifest.entries[i];
    packed.push_back(
        *pack_entry(entry.name, forgery.contents[i], entry.deflated ? Packing::kSmallest : Packing::kStored));
  }
  for (const PackedEntry& entry : packed) stored.emplace_back(entry.stored);
  EXPECT_THAT(job_.check(*write_bundle(forgery.manifest, {other}, stored), job_.base),
              IsRefused(Reason::kSignatureBad));
}

TEST_F(TrustVerdict, SignatureMissing) {
  const auto prefix = read_prefix(sealed_.file, "b");
  const auto signed_end = static_cast<std::ptrdiff_t>(prefix->end);
  const Framing with = compute_framing(prefix->manifest, prefix->signatures, sealed_.manifest);
  const Framing without = compute_framing(prefix->manifest, {}, sealed_.manifest);
  Bytes file(sealed_.file.begin(),
             sealed_.file.begin() + static_cast<std::ptrdiff_t>(with.header_offsets[1]));
  file.insert(file.end(), sealed_.file.begin() + signed_end,
              sealed_.file.begin() + static_cast<std::ptrdiff_t>(with.directory_offset));
  const Bytes directory = central_directory(without);
  file.insert(file.end(), directory.begin(), directory.end());
  ASSERT_EQ(file.size(), without.total_size);
  EXPECT_THAT(job_.check(file, job_.base), IsRefused(Reason::kSignatureMissing));
}

TEST_F(TrustVerdict, ThresholdOfTwo) {
  job_.trust.threshold = 2;
  EXPECT_THAT(check(), IsRefused(Reason::kRolesMissing));
  const auto both =
      seal(job_.request(1, edited_small(job_.base, 9)), {job_.author, job_.reviewer}, job_.trust);
  ASSERT_THAT(both, IsOk());
  EXPECT_FALSE(both->incomplete);
  const Verdict verdict = job_.check(both->file, job_.base);
  ASSERT_THAT(verdict, IsAccepted());
  EXPECT_THAT(verdict.signers, ::testing::UnorderedElementsAre("Author", "Reviewer"));
}

TEST_F(TrustVerdict, RequiredReviewer) {
  SealRequest request = job_.request(1, edited_small(job_.base, 9));
  request.statement.required_roles = {"author", "reviewer"};
  const auto one = seal(request, {job_.author}, job_.trust);
  ASSERT_THAT(one, IsOk());
  EXPECT_TRUE(one->incomplete);
  EXPECT_THAT(job_.check(one->file, job_.base), IsRefused(Reason::kRolesMissing));
  const auto two = seal(request, {job_.reviewer, job_.author}, job_.trust);
  ASSERT_THAT(two, IsOk());
  EXPECT_FALSE(two->incomplete);
  EXPECT_EQ(two->digest, one->digest) << "the identity is that of the manifest";
  EXPECT_THAT(job_.check(two->file, job_.base), IsAccepted());
}

TEST_F(TrustVerdict, TrialsExpire) {
  SealRequest request = job_.request(1, edited_small(job_.base, 9));
  request.statement.expires = "2026-04-01T00:00:00Z";
  const auto sealed = seal(request, {job_.author}, job_.trust);
  ASSERT_THAT(sealed, IsOk());
  CheckRequest check = job_.check_request(sealed->file, job_.base);
  check.now = *parse_time("2026-03-31T23:59:59Z");
  EXPECT_THAT(check_bundle(check), IsAccepted());
  check.now = *parse_time("2026-04-01T00:00:00Z");
  EXPECT_THAT(check_bundle(check), IsRefused(Reason::kExpired));
  check.seal_only = true;
  EXPECT_THAT(check_bundle(check), IsRefused(Reason::kExpired));
  // What is no trial does not.
  CheckRequest plain = job_.check_request(sealed_.file, job_.base);
  plain.now = *parse_time("9999-12-31T23:59:59Z");
  EXPECT_THAT(check_bundle(plain), IsAccepted());
}

// Whatever the steps say, a failed one is the last that was reached.
TEST_F(TrustVerdict, StepsStopAtTheFirstFailure) {
  job_.author_entry().compromised = true;
  const Verdict verdict = check();
  bool failed = false;
  for (const Step& step : verdict.steps) {
    EXPECT_EQ(step.state, failed                 ? StepState::kNotReached
                          : step.name == "trust" ? StepState::kFailed
                                                 : StepState::kPassed)
        << step.name;
    failed = failed || step.state == StepState::kFailed;
  }
  EXPECT_TRUE(failed);
}

}  // namespace
}  // namespace calseal
