#include "calseal/trust/tree_head.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/sweep.h"
#include "support/test_keys.h"

namespace calseal {
namespace {

// The sample trust file with a ledger key, of value 6.
TrustFile trust_with_ledger() {
  TrustFile trust = sample_trust();
  trust.keys.push_back(trusted(TestKey(6), "Ledger", {Role::kLedger}));
  std::sort(trust.keys.begin(), trust.keys.end(),
            [](const TrustedKey& a, const TrustedKey& b) { return a.id < b.id; });
  return trust;
}

SignedHead sample_head() {
  SignedHead head;
  head.root = TestKey(1).id();
  head.ledger = compute_sha256(view_of("ledger"));
  head.claimed_time = "2026-03-04T05:06:07Z";
  head.tree = {412, compute_sha256(view_of("entries"))};
  return head;
}

Result<SignedHead> parse(const SignedHead& head, const std::vector<std::uint8_t>& signers = {6},
                         const TrustFile& trust = trust_with_ledger()) {
  return parse_tree_head(view_of(signed_by(write_tree_head_text(head), signers)), trust, "h");
}

TEST(SignedTreeHead, ReadsBackAsWritten) {
  EXPECT_THAT(parse(sample_head()), IsOkAnd(sample_head()));
  EXPECT_THAT(read_tree_head(view_of(signed_by(write_tree_head_text(sample_head()), {9})), "h"),
              IsOkAnd(sample_head()));
}

TEST(SignedTreeHead, TextIsInTheOrderOfTheFormat) {
  const SignedHead head = sample_head();
  EXPECT_EQ(write_tree_head_text(head),
            R"({"calseal":"tree-head/1","root":")" + digest_text(head.root) + R"(","ledger":")" +
                digest_text(head.ledger) +
                R"(","claimed_time":"2026-03-04T05:06:07Z","size":412,"root_hash":")" +
                digest_text(head.tree.root_hash) + "\"}");
}

TEST(SignedTreeHead, EveryBitFlipAndTruncationIsRefused) {
  const TrustFile trust = trust_with_ledger();
  const auto reasons =
      sweep_damage(signed_by(write_tree_head_text(sample_head()), {6}),
                   [&](const std::string& text) { return parse_tree_head(view_of(text), trust, "h"); });
  EXPECT_EQ(reasons,
            (std::set<std::string>{"type-wrong", "tree-head-invalid", "signer-unknown", "signature-bad"}));
}

TEST(SignedTreeHead, OnlyALedgerKeySpeaksForTheLedger) {
  EXPECT_THAT(parse(sample_head(), {2}), FailsWith(Reason::kRolesMissing));
  EXPECT_THAT(parse(sample_head(), {9}), FailsWith(Reason::kSignerUnknown));
  TrustFile trust = trust_with_ledger();
  key_of(trust, 6).compromised = true;
  EXPECT_THAT(parse(sample_head(), {6}, trust), FailsWith(Reason::kKeyCompromised));
  trust = trust_with_ledger();
  key_of(trust, 6).jobs = {"job-7"};
  EXPECT_THAT(parse(sample_head(), {6}, trust), FailsWith(Reason::kKeyScope));
  trust = trust_with_ledger();
  key_of(trust, 6).valid_until = "2026-03-04T05:06:07Z";
  EXPECT_THAT(parse(sample_head(), {6}, trust), FailsWith(Reason::kKeyValidity));
}

TEST(SignedTreeHead, OfAnotherRootOrOfNothing) {
  SignedHead head = sample_head();
  head.root = TestKey(2).id();
  EXPECT_THAT(parse(head), FailsWith(Reason::kTreeHeadInvalid, "root"));
  head = sample_head();
  head.tree.size = 0;
  EXPECT_THAT(parse(head), FailsWith(Reason::kTreeHeadInvalid, "size"));
}

TEST(SignedTreeHead, SizeIsBounded) {
  EXPECT_THAT(read_tree_head(Bytes(kTreeHeadSizeLimit + 1, 'x'), "h"), FailsWith(Reason::kFileTooLarge));
}

}  // namespace
}  // namespace calseal
