#include "calseal/trust/judge.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/sample_bundle.h"
#include "support/sample_inclusion.h"
#include "support/test_keys.h"

namespace calseal {
namespace {

const Manifest& manifest() {
  static const Manifest kManifest = make_sample_bundle().manifest;
  return kManifest;
}

// The sample bundle, truly signed; keys are named by their values.
Bytes sealed(const std::vector<std::uint8_t>& keys, const Manifest& bundle = manifest()) {
  SampleBundle sample = make_sample_bundle();
  sample.manifest = bundle;
  sample.signatures.clear();
  const std::string text = write_manifest(bundle);
  for (const std::uint8_t key : keys) sample.signatures.push_back(TestKey(key).sign(view_of(text)));
  std::sort(sample.signatures.begin(), sample.signatures.end(),
            [](const PrefixSignature& a, const PrefixSignature& b) { return a.key_id < b.key_id; });
  return assemble(sample);
}

Status judge(const std::vector<std::uint8_t>& keys, const TrustFile& trust,
             const Manifest& bundle = manifest(), const InclusionProof* proof = nullptr) {
  const Bytes file = sealed(keys, bundle);
  CALSEAL_ASSIGN(const BundlePrefix prefix, read_prefix(file, "b"));
  CALSEAL_ASSIGN(const Signers signers, verify_prefix_signatures(prefix, trust, "b"));
  return judge_trust(bundle, compute_sha256(prefix.manifest), signers, trust, proof, "b");
}

TEST(Signatures, TrueOnesGiveTheirKeys) {
  const TrustFile trust = sample_trust();
  const Bytes file = sealed({2, 3});
  const auto prefix = read_prefix(file, "b");
  ASSERT_THAT(prefix, IsOk());
  const auto signers = verify_prefix_signatures(*prefix, trust, "b");
  ASSERT_THAT(signers, IsOk());
  ASSERT_EQ(signers->size(), 2U);
  for (std::size_t i = 0; i < 2; ++i) EXPECT_EQ((*signers)[i]->id, prefix->signatures[i].key_id);
}

TEST(Signatures, EveryKeyIsLookedUpBeforeAnyIsVerified) {
  const TrustFile trust = sample_trust();
  for (const std::uint8_t stranger : Bytes{4, 5, 6, 7}) {
    Bytes file = sealed({2, stranger});
    auto prefix = read_prefix(file, "b");
    ASSERT_THAT(prefix, IsOk());
    for (PrefixSignature& signature : prefix->signatures) signature.signature[0] ^= 1;  // bad besides
    EXPECT_THAT(verify_prefix_signatures(*prefix, trust, "b"),
                FailsWith(Reason::kSignerUnknown, digest_text(TestKey(stranger).id())));
  }
}

TEST(Signatures, OneBadSignatureSpoilsAll) {
  const TrustFile trust = sample_trust();
  const Bytes file = sealed({2, 3});
  for (std::size_t i = 0; i < 2; ++i) {
    auto prefix = read_prefix(file, "b");
    ASSERT_THAT(prefix, IsOk());
    prefix->signatures[i].signature[63] ^= 0x01;
    EXPECT_THAT(verify_prefix_signatures(*prefix, trust, "b"),
                FailsWith(Reason::kSignatureBad, digest_text(prefix->signatures[i].key_id)));
  }
}

TEST(Signatures, ASignatureOfAnotherManifestIsBad) {
  const TrustFile trust = sample_trust();
  const Bytes file = sealed({2});
  Manifest other = manifest();
  other.title = "Other";
  const Bytes other_file = sealed({2}, other);
  auto prefix = read_prefix(file, "b");
  auto other_prefix = read_prefix(other_file, "b");
  ASSERT_THAT(prefix, IsOk());
  ASSERT_THAT(other_prefix, IsOk());
  std::swap(prefix->signatures, other_prefix->signatures);
  EXPECT_THAT(verify_prefix_signatures(*prefix, trust, "b"), FailsWith(Reason::kSignatureBad));
}

TEST(Trust, OneAuthorIsTheDefault) {
  EXPECT_THAT(judge({2}, sample_trust()), IsOk());
  EXPECT_THAT(judge({2, 3}, sample_trust()), IsOk());
  EXPECT_THAT(judge({3}, sample_trust()), FailsWith(Reason::kRolesMissing));
}

TEST(Trust, AManifestMayAskForMore) {
  Manifest both = manifest();
  both.required_roles = {"author", "reviewer"};
  EXPECT_THAT(judge({2}, sample_trust(), both), FailsWith(Reason::kRolesMissing));
  EXPECT_THAT(judge({2, 3}, sample_trust(), both), IsOk());
}

TEST(Trust, APolicyMayAskForMore) {
  TrustFile trust = sample_trust();
  trust.threshold = 2;
  EXPECT_THAT(judge({2}, trust), FailsWith(Reason::kRolesMissing));
  EXPECT_THAT(judge({2, 3}, trust), IsOk());
  trust.threshold = 3;
  EXPECT_THAT(judge({2, 3}, trust), FailsWith(Reason::kRolesMissing));
}

TEST(Trust, OneKeyWithBothRolesServesOnlyOne) {
  TrustFile trust = sample_trust();
  key_of(trust, 2).roles = {Role::kAuthor, Role::kReviewer};
  Manifest both = manifest();
  both.required_roles = {"author", "reviewer"};
  EXPECT_THAT(judge({2}, trust, both), FailsWith(Reason::kRolesMissing));
  EXPECT_THAT(judge({2, 3}, trust, both), IsOk());
}

TEST(Trust, KeysThatSignNoRevisionsDoNotCount) {
  TrustFile trust = sample_trust();
  key_of(trust, 3).roles = {Role::kLedger, Role::kMapAuthor, Role::kWithdrawal};
  EXPECT_THAT(judge({3}, trust), FailsWith(Reason::kRolesMissing));
  trust.threshold = 2;
  EXPECT_THAT(judge({2, 3}, trust), FailsWith(Reason::kRolesMissing));
}

TEST(Trust, CompromisedKeys) {
  TrustFile trust = sample_trust();
  key_of(trust, 3).compromised = true;
  EXPECT_THAT(judge({2}, trust), IsOk());
  EXPECT_THAT(judge({3}, trust), FailsWith(Reason::kKeyCompromised, digest_text(TestKey(3).id())));
  key_of(trust, 2).compromised = true;
  EXPECT_THAT(judge({2, 3}, trust), FailsWith(Reason::kKeyCompromised));
}

// Counter-signed: the active signers alone must do for everything that is asked.
TEST(Trust, BesideACompromisedKeyTheOthersMustBeEnough) {
  TrustFile trust = sample_trust();
  trust.keys.push_back(trusted(TestKey(4), "Second author", {Role::kAuthor}));
  key_of(trust, 2).compromised = true;
  EXPECT_THAT(judge({2}, trust), FailsWith(Reason::kKeyCompromised, digest_text(TestKey(2).id())));
  EXPECT_THAT(judge({2, 4}, trust), IsOk());
  EXPECT_THAT(judge({2, 3}, trust), FailsWith(Reason::kKeyCompromised));  // no author is left
  trust.threshold = 2;
  EXPECT_THAT(judge({2, 4}, trust), FailsWith(Reason::kKeyCompromised));
  EXPECT_THAT(judge({2, 3, 4}, trust), IsOk());
  Manifest both = manifest();
  both.required_roles = {"author", "reviewer"};
  trust.threshold = 1;
  EXPECT_THAT(judge({2, 4}, trust, both), FailsWith(Reason::kKeyCompromised));
  EXPECT_THAT(judge({2, 3, 4}, trust, both), IsOk());
}

// A compromised key then counts for nothing: its scope and validity refuse no more, those of the others do.
TEST(Trust, OnlyTheCountedSignersAreJudged) {
  TrustFile trust = sample_trust();
  trust.keys.push_back(trusted(TestKey(4), "Second author", {Role::kAuthor}));
  key_of(trust, 2).compromised = true;
  key_of(trust, 2).jobs = {"other"};
  key_of(trust, 2).valid_from = "2030-01-01T00:00:00Z";
  EXPECT_THAT(judge({2, 4}, trust), IsOk());
  TrustFile scope = trust;
  key_of(scope, 4).jobs = {"other"};
  EXPECT_THAT(judge({2, 4}, scope), FailsWith(Reason::kKeyScope, digest_text(TestKey(4).id())));
  TrustFile validity = trust;
  key_of(validity, 4).valid_from = "2030-01-01T00:00:00Z";
  EXPECT_THAT(judge({2, 4}, validity), FailsWith(Reason::kKeyValidity, digest_text(TestKey(4).id())));
}

TEST(Trust, AProofUnderAPinnedHeadMakesACompromisedKeyCountAsBefore) {
  TrustFile trust = sample_trust();
  key_of(trust, 2).compromised = true;
  const Sha256 digest = digest_of(write_manifest(manifest()));
  const InclusionProof proof = sample_inclusion(digest);
  EXPECT_THAT(judge({2}, trust, manifest(), &proof), FailsWith(Reason::kInclusionInvalid, "head"));
  trust.ledger_heads = {proof.head};
  EXPECT_THAT(judge({2}, trust, manifest(), &proof), IsOk());
  EXPECT_THAT(judge({2}, trust), FailsWith(Reason::kKeyCompromised));
  const InclusionProof other = sample_inclusion(digest_of("another revision"));
  trust.ledger_heads = {other.head};
  EXPECT_THAT(judge({2}, trust, manifest(), &other), FailsWith(Reason::kInclusionInvalid, "entry"));
  // As before means scope, validity and roles too.
  trust.ledger_heads = {proof.head};
  TrustFile scope = trust;
  key_of(scope, 2).jobs = {"other"};
  EXPECT_THAT(judge({2}, scope, manifest(), &proof), FailsWith(Reason::kKeyScope));
  TrustFile validity = trust;
  key_of(validity, 2).valid_until = "2026-03-04T05:06:07Z";
  EXPECT_THAT(judge({2}, validity, manifest(), &proof), FailsWith(Reason::kKeyValidity));
  TrustFile threshold = trust;
  threshold.threshold = 2;
  EXPECT_THAT(judge({2}, threshold, manifest(), &proof), FailsWith(Reason::kRolesMissing));
}

// Where nothing depends on a proof it changes nothing.
TEST(Trust, AProofIsLookedAtOnlyWhereAKeyIsCompromised) {
  TrustFile trust = sample_trust();
  const InclusionProof other = sample_inclusion(digest_of("another revision"));
  EXPECT_THAT(judge({2}, trust, manifest(), &other), IsOk());
  EXPECT_THAT(judge({3}, trust, manifest(), &other), FailsWith(Reason::kRolesMissing));
  key_of(trust, 3).compromised = true;
  EXPECT_THAT(judge({2, 3}, trust, manifest(), &other), IsOk());
}

TEST(Trust, Scope) {
  const auto with = [](auto bend) {
    TrustFile trust = sample_trust();
    bend(key_of(trust, 2));
    return judge({2}, trust);
  };
  EXPECT_THAT(with([](TrustedKey& k) { k.jobs = {"job-6", "job-7"}; }), IsOk());
  EXPECT_THAT(with([](TrustedKey& k) { k.jobs = {"job-6"}; }), FailsWith(Reason::kKeyScope));
  EXPECT_THAT(with([](TrustedKey& k) { k.jobs = {"job-77"}; }), FailsWith(Reason::kKeyScope));
  EXPECT_THAT(with([](TrustedKey& k) { k.controllers = {"engine"}; }), IsOk());
  EXPECT_THAT(with([](TrustedKey& k) { k.controllers = {"transmission"}; }), FailsWith(Reason::kKeyScope));
  EXPECT_THAT(with([](TrustedKey& k) { k.region_maps = {manifest().controller().map_digest}; }), IsOk());
  EXPECT_THAT(with([](TrustedKey& k) { k.region_maps = {Sha256{}}; }), FailsWith(Reason::kKeyScope));
}

TEST(Trust, ValidityHasAnInclusiveBeginningAndAnExclusiveEnd) {
  const auto with = [](const std::string& from, const std::string& until) {
    TrustFile trust = sample_trust();
    key_of(trust, 2).valid_from = from;
    key_of(trust, 2).valid_until = until;
    return judge({2}, trust);  // claimed at 2026-03-04T05:06:07Z
  };
  EXPECT_THAT(with("2026-03-04T05:06:07Z", ""), IsOk());
  EXPECT_THAT(with("2026-03-04T05:06:08Z", ""), FailsWith(Reason::kKeyValidity));
  EXPECT_THAT(with("2026-01-01T00:00:00Z", "2026-03-04T05:06:08Z"), IsOk());
  EXPECT_THAT(with("2026-01-01T00:00:00Z", "2026-03-04T05:06:07Z"), FailsWith(Reason::kKeyValidity));
}

// State of all keys, then scope of all, then validity of all, then roles: whichever key the fault is at.
TEST(Trust, OrderOfChecks) {
  TrustFile trust = sample_trust();
  trust.threshold = 8;
  key_of(trust, 2).valid_from = key_of(trust, 3).valid_from = "2030-01-01T00:00:00Z";
  for (const std::uint8_t value : Bytes{2, 3}) {
    TrustFile scope = trust;
    key_of(scope, value).jobs = {"other"};
    for (const std::uint8_t other : Bytes{2, 3}) {
      TrustFile state = scope;
      key_of(state, other).compromised = true;
      EXPECT_THAT(judge({2, 3}, state), FailsWith(Reason::kKeyCompromised));
    }
    EXPECT_THAT(judge({2, 3}, scope), FailsWith(Reason::kKeyScope));
  }
  EXPECT_THAT(judge({2, 3}, trust), FailsWith(Reason::kKeyValidity));
  key_of(trust, 2).valid_from = key_of(trust, 3).valid_from = "2026-01-01T00:00:00Z";
  EXPECT_THAT(judge({2, 3}, trust), FailsWith(Reason::kRolesMissing));
}

}  // namespace
}  // namespace calseal
