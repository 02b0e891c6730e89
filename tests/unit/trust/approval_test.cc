#include "calseal/trust/approval.h"

#include <gtest/gtest.h>

#include <functional>

#include "calseal/base/text.h"
#include "support/matchers.h"
#include "support/revision_digest.h"
#include "support/sweep.h"
#include "support/test_keys.h"

namespace calseal {
namespace {

// Author 2, reviewer 3, map authors 5 and 6; the root is 1.
TrustFile trust_with_map_authors() {
  TrustFile trust = sample_trust();
  trust.keys.push_back(trusted(TestKey(5), "Cartographer", {Role::kMapAuthor}));
  trust.keys.push_back(trusted(TestKey(6), "Second", {Role::kMapAuthor, Role::kReviewer}));
  std::ranges::sort(trust.keys, {}, &TrustedKey::id);
  return trust;
}

Approval sample() {
  return {"engine", revision(1), revision(2), "2026-03-04T05:06:07Z", "the gear table is ours now", {}};
}

Result<Approval> parse(std::string_view file, const TrustFile& trust = trust_with_map_authors()) {
  return parse_approval(view_of(file), trust, "a");
}

std::string sealed(const Approval& approval, const std::vector<std::uint8_t>& signers = {5}) {
  return signed_by(write_approval_text(approval), signers);
}

Approval between(std::uint8_t from, std::uint8_t to) {
  Approval approval = sample();
  approval.from = revision(from);
  approval.to = revision(to);
  return approval;
}

TEST(ApprovalFile, ReadBackAsWritten) {
  Approval read = sample();
  read.signers = {"Cartographer"};
  EXPECT_THAT(parse(sealed(sample())), IsOkAnd(read));
  EXPECT_EQ(parse(sealed(sample(), {5, 6}))->signers.size(), 2U);
}

TEST(ApprovalFile, TextIsInTheOrderOfTheFormat) {
  EXPECT_EQ(write_approval_text(sample()),
            R"({"calseal":"approval/1","controller":"engine","from":")" + digest_text(revision(1)) +
                R"(","to":")" + digest_text(revision(2)) +
                R"(","claimed_time":"2026-03-04T05:06:07Z","text":"the gear table is ours now"})");
}

TEST(ApprovalFile, EveryBitFlipAndTruncationIsRefused) {
  const TrustFile trust = trust_with_map_authors();
  const auto reasons =
      sweep_damage(sealed(sample()), [&](const std::string& text) { return parse(text, trust); });
  EXPECT_EQ(reasons,
            (std::set<std::string>{"approval-invalid", "signature-bad", "signer-unknown", "type-wrong"}));
}

TEST(ApprovalFile, SizeAndKindAreBounded) {
  EXPECT_THAT(parse(std::string(kApprovalSizeLimit + 1, 'x')), FailsWith(Reason::kFileTooLarge));
  EXPECT_THAT(parse(signed_by(write_trust_text(sample_trust()), {5})), FailsWith(Reason::kTypeWrong));
}

// Hostile text of strangers is never parsed.
TEST(ApprovalFile, NothingIsParsedBeforeItsSignaturesHold) {
  const std::string garbage = std::string(kApprovalLiteral) + "[[[";
  EXPECT_THAT(parse(signed_by(garbage, {4})), FailsWith(Reason::kSignerUnknown));
  std::string bad = signed_by(garbage, {5});
  bad[kApprovalLiteral.size()] = '{';
  EXPECT_THAT(parse(bad), FailsWith(Reason::kSignatureBad));
  EXPECT_THAT(parse(signed_by(garbage, {5})), FailsWith(Reason::kApprovalInvalid));
}

TEST(ApprovalFile, TheRootNeedsNoRoleScopeOrValidity) {
  Approval early = sample();
  early.claimed_time = "1970-01-01T00:00:00Z";
  const auto read = parse(sealed(early, {1}));
  ASSERT_THAT(read, IsOk());
  EXPECT_EQ(read->signers, (std::vector<std::string>{"the root of Sample shop"}));
  EXPECT_THAT(parse(sealed(sample(), {1, 5})), IsOk());
  EXPECT_THAT(parse(sealed(sample(), {1, 2})), FailsWith(Reason::kRolesMissing))
      << "one bad signer spoils it";
}

struct Judged {
  const char* name;
  Reason reason;
  std::function<void(TrustFile&)> bend;
};
class ApprovalSigners : public ::testing::TestWithParam<Judged> {};

TEST_P(ApprovalSigners, AreJudged) {
  TrustFile trust = trust_with_map_authors();
  GetParam().bend(trust);
  EXPECT_THAT(parse(sealed(sample()), trust), FailsWith(GetParam().reason));
  EXPECT_THAT(parse(sealed(sample(), {5, 6}), trust), FailsWith(GetParam().reason));
  EXPECT_THAT(parse(sealed(sample(), {6}), trust), IsOk());
}
const Judged kJudged[] = {
    {"compromised", Reason::kKeyCompromised, [](TrustFile& t) { key_of(t, 5).compromised = true; }},
    {"another_role", Reason::kRolesMissing,
     [](TrustFile& t) {
       key_of(t, 5).roles = {Role::kAuthor, Role::kLedger, Role::kReviewer, Role::kWithdrawal};
     }},
    {"for_some_jobs", Reason::kKeyScope, [](TrustFile& t) { key_of(t, 5).jobs = {"job-7"}; }},
    {"for_another_controller", Reason::kKeyScope,
     [](TrustFile& t) { key_of(t, 5).controllers = {"transmission"}; }},
    {"not_yet_valid", Reason::kKeyValidity,
     [](TrustFile& t) { key_of(t, 5).valid_from = "2026-03-04T05:06:08Z"; }},
    {"no_longer_valid", Reason::kKeyValidity,
     [](TrustFile& t) { key_of(t, 5).valid_until = "2026-03-04T05:06:07Z"; }},
    {"compromised_before_role", Reason::kKeyCompromised,
     [](TrustFile& t) { key_of(t, 5).compromised = true, key_of(t, 5).roles = {Role::kAuthor}; }},
    {"role_before_scope", Reason::kRolesMissing,
     [](TrustFile& t) {
       key_of(t, 5).roles = {Role::kAuthor};
       key_of(t, 5).jobs = {"job-1"};
     }},
    {"scope_before_validity", Reason::kKeyScope,
     [](TrustFile& t) {
       key_of(t, 5).jobs = {"job-1"};
       key_of(t, 5).valid_from = "2030-01-01T00:00:00Z";
     }},
};
INSTANTIATE_TEST_SUITE_P(Table, ApprovalSigners, ::testing::ValuesIn(kJudged),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(ApprovalFile, ScopesAndTimesThatJustFit) {
  TrustFile trust = trust_with_map_authors();
  trust.threshold = 8;  // for bundles
  TrustedKey& key = key_of(trust, 5);
  key.controllers = {"engine"};
  key.region_maps = {Sha256{}};  // not asked
  key.valid_from = "2026-03-04T05:06:07Z";
  key.valid_until = "2026-03-04T05:06:08Z";
  EXPECT_THAT(parse(sealed(sample()), trust), IsOk());
}

struct BentApproval {
  const char* name;
  std::function<void(Approval&)> bend;
};
class ApprovalConsistency : public ::testing::TestWithParam<BentApproval> {};

TEST_P(ApprovalConsistency, IsRefusedThoughSigned) {
  Approval approval = sample();
  GetParam().bend(approval);
  EXPECT_THAT(parse(sealed(approval)), FailsWith(Reason::kApprovalInvalid));
}
const BentApproval kBent[] = {
    {"to_itself", [](Approval& a) { a.to = a.from; }},
    {"no_controller", [](Approval& a) { a.controller = ""; }},
    {"no_time", [](Approval& a) { a.claimed_time = ""; }},
    {"two_lines", [](Approval& a) { a.text = "a\nb"; }},
};
INSTANTIATE_TEST_SUITE_P(Table, ApprovalConsistency, ::testing::ValuesIn(kBent),
                         [](const auto& one) { return std::string(one.param.name); });

// One that does not count is as if it were not there, and the reason can be told.
TEST(Approvals, ThoseThatCount) {
  Approval other = sample();
  other.controller = "transmission";
  const Approvals judged = judge_approvals(
      {sealed(sample()), "no approval", sealed(sample(), {2}), sealed(other), sealed(between(2, 3), {1})},
      "engine", trust_with_map_authors());
  ASSERT_EQ(judged.counting.size(), 2U);
  EXPECT_EQ(judged.counting[1].to, revision(3));
  ASSERT_EQ(judged.others.size(), 3U);
  EXPECT_NE(judged.others[0].find("approval 2 does not count: type-wrong"), std::string::npos);
  EXPECT_NE(judged.others[1].find("roles-missing"), std::string::npos);
  EXPECT_NE(judged.others[2].find("transmission"), std::string::npos);
}

TEST(Approvals, LeadOnFromMapToMap) {
  const std::vector<Approval> all = {between(3, 4), between(2, 1), between(1, 2), between(2, 3)};
  const auto way = [&](std::uint8_t from, std::uint8_t to) {
    return approvals_lead(all, revision(from), revision(to));
  };
  ASSERT_TRUE(way(1, 4));
  EXPECT_EQ(*way(1, 4), (std::vector<const Approval*>{&all[2], &all[3], &all[0]}));
  EXPECT_TRUE(way(7, 7)) << "from a map to itself none is needed";
  EXPECT_TRUE(way(7, 7)->empty());
  EXPECT_TRUE(way(2, 1));
  EXPECT_FALSE(way(4, 1)) << "they lead one way";
  EXPECT_FALSE(way(1, 5));
  EXPECT_FALSE(approvals_lead({}, revision(1), revision(2)));
}

}  // namespace
}  // namespace calseal
