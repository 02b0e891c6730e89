#include "calseal/sign/countersign.h"

#include <gtest/gtest.h>

#include "calseal/bundle/prefix.h"
#include "support/bent_bundle.h"
#include "support/small_job.h"
#include "support/verdict_matchers.h"

namespace calseal {
namespace {

// The small job with a second author, of seed 5, and a ledger key, of seed 6.
struct Counter : SmallJob {
  Counter() {
    trust.keys.push_back(small_trusted(second, "Second author", Role::kAuthor));
    trust.keys.push_back(small_trusted(ledger, "Ledger", Role::kLedger));
    std::ranges::sort(trust.keys, {}, &TrustedKey::id);
  }
  TrustedKey& entry_of(const PrivateKey& key) {
    return *std::ranges::find(trust.keys, key.id(), &TrustedKey::id);
  }
  Bytes revision() const { return seal_revision(1, edited_small(base, 9))->file; }

  PrivateKey second = small_key(5), ledger = small_key(6);
};

TEST(CounterSign, AddsASignatureAndNothingElse) {
  const Counter job;
  const Bytes before = job.revision();
  const auto signed_twice = countersign(before, "b", {job.reviewer}, job.trust);
  ASSERT_THAT(signed_twice, IsOk());
  EXPECT_FALSE(signed_twice->incomplete);
  EXPECT_EQ(signed_twice->signers.size(), 2U);
  const auto old_prefix = read_prefix(before, "b");
  const auto new_prefix = read_prefix(signed_twice->file, "b");
  ASSERT_THAT(new_prefix, IsOk());
  EXPECT_TRUE(std::ranges::equal(old_prefix->manifest, new_prefix->manifest));
  EXPECT_EQ(signed_twice->digest, compute_sha256(old_prefix->manifest));
  EXPECT_EQ(new_prefix->signatures.size(), 2U);
  EXPECT_NE(std::ranges::find(new_prefix->signatures, old_prefix->signatures[0]),
            new_prefix->signatures.end());
  // The same bytes as if both had signed at once, whoever came first.
  const auto together =
      seal(job.request(1, edited_small(job.base, 9)), {job.author, job.reviewer}, job.trust);
  EXPECT_EQ(signed_twice->file, together->file);
  EXPECT_THAT(job.check(signed_twice->file, job.base), IsAccepted());
}

TEST(CounterSign, CollectsRequiredRoles) {
  const Counter job;
  SealRequest request = job.request(1, edited_small(job.base, 9));
  request.statement.required_roles = {"author", "reviewer"};
  const auto half = seal(request, {job.author}, job.trust);
  ASSERT_THAT(half, IsOk());
  ASSERT_TRUE(half->incomplete);
  EXPECT_THAT(job.check(half->file, job.base), IsRefused(Reason::kRolesMissing));
  const auto still = countersign(half->file, "b", {job.second}, job.trust);
  ASSERT_THAT(still, IsOk());
  EXPECT_TRUE(still->incomplete);
  const auto whole = countersign(still->file, "b", {job.reviewer}, job.trust);
  ASSERT_THAT(whole, IsOk());
  EXPECT_FALSE(whole->incomplete);
  EXPECT_THAT(job.check(whole->file, job.base), IsAccepted());
}

TEST(CounterSign, ACompromisedKeyAddsNothing) {
  Counter job;
  job.entry_of(job.second).compromised = true;
  EXPECT_THAT(countersign(job.revision(), "b", {job.second}, job.trust),
              FailsWith(Reason::kKeyCompromised, "key " + digest_text(job.second.id())));
}

// Stripping a signature that the manifest requires makes it fail, whichever it is.
TEST(CounterSign, StrippedSignaturesAreMissed) {
  const Counter job;
  SealRequest request = job.request(1, edited_small(job.base, 9));
  request.statement.required_roles = {"author", "reviewer"};
  const auto sealed = seal(request, {job.author, job.reviewer}, job.trust);
  ASSERT_THAT(sealed, IsOk());
  for (std::size_t i = 0; i < 2; ++i) {
    BentBundle bent(*sealed);
    bent.signatures.erase(bent.signatures.begin() + static_cast<std::ptrdiff_t>(i));
    EXPECT_THAT(job.check(bent.file(), job.base), IsRefused(Reason::kRolesMissing));
  }
}

TEST(CounterSign, OutweighsACompromisedKey) {
  Counter job;
  const Bytes before = job.revision();
  job.author_entry().compromised = true;
  EXPECT_THAT(job.check(before, job.base), IsRefused(Reason::kKeyCompromised));
  // A reviewer alone leaves it without an author: not yet whole, and still refused.
  const auto reviewed = countersign(before, "b", {job.reviewer}, job.trust);
  ASSERT_THAT(reviewed, IsOk());
  EXPECT_TRUE(reviewed->incomplete);
  EXPECT_THAT(job.check(reviewed->file, job.base), IsRefused(Reason::kKeyCompromised));
  const auto saved = countersign(reviewed->file, "b", {job.second}, job.trust);
  ASSERT_THAT(saved, IsOk());
  EXPECT_FALSE(saved->incomplete);
  EXPECT_THAT(job.check(saved->file, job.base), IsAccepted());
}

TEST(CounterSign, KeysThatMayNot) {
  Counter job;
  const Bytes before = job.revision();
  const auto with = [&](const SigningKeys& keys) { return countersign(before, "b", keys, job.trust); };
  EXPECT_THAT(with({}), FailsWith(Reason::kUsage, "keys"));
  EXPECT_THAT(with({job.reviewer, job.reviewer}), FailsWith(Reason::kUsage, "keys"));
  EXPECT_THAT(with(SigningKeys(9, job.reviewer)), FailsWith(Reason::kUsage, "keys"));
  EXPECT_THAT(with({job.stranger}), FailsWith(Reason::kSignerUnknown, digest_text(job.stranger.id())));
  EXPECT_THAT(with({job.root}), FailsWith(Reason::kSignerUnknown, digest_text(job.root.id())));
  EXPECT_THAT(with({job.ledger}), FailsWith(Reason::kRolesMissing, digest_text(job.ledger.id())));
  EXPECT_THAT(with({job.author}), FailsWith(Reason::kUsage, digest_text(job.author.id())));
  job.entry_of(job.second).jobs = {"job-8"};
  EXPECT_THAT(with({job.second}), FailsWith(Reason::kKeyScope));
  job.entry_of(job.second).jobs = {};
  job.entry_of(job.second).valid_from = "2026-03-04T05:06:08Z";
  EXPECT_THAT(with({job.second}), FailsWith(Reason::kKeyValidity));
  job.entry_of(job.second).compromised = true;
  EXPECT_THAT(with({job.second}), FailsWith(Reason::kKeyCompromised, digest_text(job.second.id())));
}

TEST(CounterSign, NotMoreThanAsManyAsFit) {
  Counter job;
  std::vector<PrivateKey> keys;
  for (std::uint8_t value = 20; value < 28; ++value) {
    keys.push_back(small_key(value));
    job.trust.keys.push_back(small_trusted(keys.back(), "More", Role::kReviewer));
  }
  std::ranges::sort(job.trust.keys, {}, &TrustedKey::id);
  const Bytes before = job.revision();
  EXPECT_THAT(countersign(before, "b", SigningKeys(keys.begin(), keys.end()), job.trust),
              FailsWith(Reason::kUsage, "signatures"));
  const auto eight = countersign(before, "b", SigningKeys(keys.begin(), keys.end() - 1), job.trust);
  ASSERT_THAT(eight, IsOk());
  EXPECT_EQ(eight->signers.size(), 8U);
  EXPECT_THAT(job.check(eight->file, job.base), IsAccepted());
}

// Whoever signs vouches for what he signs, so nothing doubtful is signed.
TEST(CounterSign, SignsNothingThatIsNotWholeAndTrue) {
  Counter job;
  const auto sealed = job.seal_revision(1, edited_small(job.base, 9));
  const auto refused = [&](const Bytes& file, Reason reason) {
    EXPECT_THAT(countersign(file, "b", {job.second}, job.trust), FailsWith(reason));
  };
  {
    BentBundle bent(*sealed);
    bent.replace("revision 1", "revision 2");
    refused(bent.file(), Reason::kSignatureBad);
    bent.sign({job.stranger});
    refused(bent.file(), Reason::kSignerUnknown);
    bent.sign({job.author, job.stranger});
    refused(bent.file(), Reason::kSignerUnknown);
    bent.sign({job.author}).replace("\"title\":", "\"title\": ").sign({job.author});
    refused(bent.file(), Reason::kJsonNotCanonical);
  }
  Bytes cut = sealed->file;
  cut.pop_back();
  refused(cut, Reason::kFramingDamaged);
  refused(Bytes(200, 0), Reason::kNotABundle);
  BentBundle payload(*sealed);
  payload.stored.back()[0] ^= 1U;
  refused(payload.file(), Reason::kStoredDigest);
  // True signatures over contents that are not what the manifest claims.
  BentBundle claims(*sealed);
  claims.replace("\"version\":3,\"grade\":\"draft\"", "\"version\":4,\"grade\":\"draft\"").sign({job.author});
  refused(claims.file(), Reason::kClaimMismatch);
  job.author_entry().compromised = true;
  refused(claims.file(), Reason::kClaimMismatch);
}

}  // namespace
}  // namespace calseal
