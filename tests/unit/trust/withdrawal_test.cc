#include "calseal/trust/withdrawal.h"

#include <gtest/gtest.h>

#include <functional>

#include "calseal/base/text.h"
#include "support/matchers.h"
#include "support/revision_digest.h"
#include "support/sweep.h"
#include "support/test_keys.h"

namespace calseal {
namespace {

// Author 2, reviewer 3, withdrawal 5 and 6.
TrustFile trust_with_withdrawal() {
  TrustFile trust = sample_trust();
  trust.keys.push_back(trusted(TestKey(5), "Desk", {Role::kWithdrawal}));
  trust.keys.push_back(trusted(TestKey(6), "Second desk", {Role::kReviewer, Role::kWithdrawal}));
  std::sort(trust.keys.begin(), trust.keys.end(),
            [](const TrustedKey& a, const TrustedKey& b) { return a.id < b.id; });
  return trust;
}

WithdrawalList sample_list() {
  WithdrawalList list;
  list.root = TestKey(1).id();
  list.number = 7;
  list.claimed_time = "2026-03-04T05:06:07Z";
  list.fresh_until = "2026-04-04T05:06:07Z";
  list.notices = {
      {revision(1), "job-7", "engine", WithdrawalClass::kError, false, std::nullopt, "typing error in fuel"},
      {revision(2), "job-7", "engine", WithdrawalClass::kSafety, true, revision(1), "too lean"},
      {revision(9), "job-8", "transmission", WithdrawalClass::kSafety, true, std::nullopt, ""}};
  return list;
}

Result<WithdrawalList> parse(std::string_view file, const TrustFile& trust = trust_with_withdrawal()) {
  return parse_withdrawals(view_of(file), trust, "w");
}

std::string sealed(const WithdrawalList& list, const std::vector<std::uint8_t>& signers = {5}) {
  return signed_by(write_withdrawal_text(list), signers);
}

// What is read of it: the keys that signed belong to it.
WithdrawalList read_back(WithdrawalList list, const std::vector<std::uint8_t>& signers = {5}) {
  for (const std::uint8_t key : signers) list.keys.push_back(TestKey(key).id());
  std::sort(list.keys.begin(), list.keys.end());
  return list;
}

TEST(Withdrawals, ReadBackAsWritten) {
  EXPECT_THAT(parse(sealed(sample_list())), IsOkAnd(read_back(sample_list())));
  EXPECT_THAT(parse(sealed(sample_list(), {5, 6})), IsOkAnd(read_back(sample_list(), {5, 6})));
  WithdrawalList none = sample_list();
  none.notices.clear();
  EXPECT_THAT(parse(sealed(none)), IsOkAnd(read_back(none)));
}

TEST(Withdrawals, TextIsInTheOrderOfTheFormat) {
  WithdrawalList list = sample_list();
  list.notices.erase(list.notices.begin());
  EXPECT_EQ(
      write_withdrawal_text(list),
      R"({"calseal":"withdrawal/1","root":")" + digest_text(TestKey(1).id()) +
          R"(","number":7,"claimed_time":"2026-03-04T05:06:07Z","fresh_until":"2026-04-04T05:06:07Z",)"
          R"("notices":[{"revision":")" +
          digest_text(revision(2)) +
          R"(","job":"job-7","controller":"engine","class":"safety","action":"go-back","go_to":")" +
          digest_text(revision(1)) + R"(","text":"too lean"},{"revision":")" + digest_text(revision(9)) +
          R"(","job":"job-8","controller":"transmission","class":"safety","action":"go-back","go_to":"",)"
          R"("text":""}]})");
}

TEST(Withdrawals, Find) {
  const WithdrawalList list = sample_list();
  for (const WithdrawalNotice& notice : list.notices) EXPECT_EQ(list.find(notice.revision), &notice);
  for (const std::uint8_t other : Bytes{0, 3, 8, 10, 255}) EXPECT_EQ(list.find(revision(other)), nullptr);
}

TEST(Withdrawals, ClassesHaveTheirNames) {
  for (const auto& [kind, name] :
       std::vector<std::pair<WithdrawalClass, std::string>>{{WithdrawalClass::kCommercial, "commercial"},
                                                            {WithdrawalClass::kError, "error"},
                                                            {WithdrawalClass::kReplaced, "replaced"},
                                                            {WithdrawalClass::kSafety, "safety"}}) {
    EXPECT_EQ(withdrawal_class_name(kind), name);
    WithdrawalList list = sample_list();
    list.notices[0].kind = kind;
    EXPECT_THAT(parse(sealed(list)), IsOkAnd(read_back(list)));
  }
}

TEST(Withdrawals, EveryBitFlipAndTruncationIsRefused) {
  const TrustFile trust = trust_with_withdrawal();
  const auto reasons =
      sweep_damage(sealed(sample_list()), [&](const std::string& text) { return parse(text, trust); });
  EXPECT_EQ(reasons,
            (std::set<std::string>{"signature-bad", "signer-unknown", "type-wrong", "withdrawals-invalid"}));
}

TEST(Withdrawals, SizeAndKindAreBounded) {
  EXPECT_THAT(parse(std::string(kWithdrawalSizeLimit + 1, 'x')), FailsWith(Reason::kFileTooLarge));
  EXPECT_THAT(parse(signed_by(write_trust_text(sample_trust()), {5})), FailsWith(Reason::kTypeWrong));
}

// What the parser says before it looks at fields: hostile text of strangers is never parsed.
TEST(Withdrawals, NothingIsParsedBeforeItsSignaturesHold) {
  const std::string garbage = std::string(kWithdrawalLiteral) + "[[[";
  EXPECT_THAT(parse(signed_by(garbage, {4})), FailsWith(Reason::kSignerUnknown));
  std::string bad = signed_by(garbage, {5});
  bad[kWithdrawalLiteral.size()] = '{';
  EXPECT_THAT(parse(bad), FailsWith(Reason::kSignatureBad));
  EXPECT_THAT(parse(signed_by(garbage, {5})), FailsWith(Reason::kWithdrawalsInvalid));
}

TEST(Withdrawals, EverySignerIsKnownAndGood) {
  EXPECT_THAT(parse(sealed(sample_list(), {4})),
              FailsWith(Reason::kSignerUnknown, digest_text(TestKey(4).id())));
  EXPECT_THAT(parse(sealed(sample_list(), {5, 4})), FailsWith(Reason::kSignerUnknown));
  PrefixSignature other = TestKey(6).sign(view_of(write_withdrawal_text(sample_list())));
  other.key_id = TestKey(5).id();
  EXPECT_THAT(parse(write_statement(write_withdrawal_text(sample_list()), {other})),
              FailsWith(Reason::kSignatureBad, digest_text(TestKey(5).id())));
}

struct Judged {
  const char* name;
  Reason reason;
  std::function<void(TrustFile&)> bend;
};
class WithdrawalSigners : public ::testing::TestWithParam<Judged> {};

// Signed by 5 alone, and with a second good signature beside it: one bad signer spoils the list.
TEST_P(WithdrawalSigners, AreJudged) {
  TrustFile trust = trust_with_withdrawal();
  GetParam().bend(trust);
  EXPECT_THAT(parse(sealed(sample_list()), trust), FailsWith(GetParam().reason));
  EXPECT_THAT(parse(sealed(sample_list(), {5, 6}), trust), FailsWith(GetParam().reason));
  EXPECT_THAT(parse(sealed(sample_list(), {6}), trust), IsOk());
}
const Judged kJudged[] = {
    {"compromised", Reason::kKeyCompromised, [](TrustFile& t) { key_of(t, 5).compromised = true; }},
    {"another_role", Reason::kRolesMissing,
     [](TrustFile& t) {
       key_of(t, 5).roles = {Role::kAuthor, Role::kLedger, Role::kMapAuthor, Role::kReviewer};
     }},
    {"for_some_jobs", Reason::kKeyScope,
     [](TrustFile& t) {
       key_of(t, 5).jobs = {"job-7", "job-8"};
     }},
    {"for_some_controllers", Reason::kKeyScope, [](TrustFile& t) { key_of(t, 5).controllers = {"engine"}; }},
    {"not_yet_valid", Reason::kKeyValidity,
     [](TrustFile& t) { key_of(t, 5).valid_from = "2026-03-04T05:06:08Z"; }},
    {"no_longer_valid", Reason::kKeyValidity,
     [](TrustFile& t) { key_of(t, 5).valid_until = "2026-03-04T05:06:07Z"; }},
    {"everything_at_once", Reason::kKeyCompromised,
     [](TrustFile& t) {
       key_of(t, 5).compromised = true;
       key_of(t, 5).roles = {Role::kAuthor};
       key_of(t, 5).jobs = {"job-1"};
       key_of(t, 5).valid_from = "2030-01-01T00:00:00Z";
     }},
    {"role_before_scope", Reason::kRolesMissing,
     [](TrustFile& t) {
       key_of(t, 5).roles = {Role::kAuthor};
       key_of(t, 5).jobs = {"job-1"};
       key_of(t, 5).valid_from = "2030-01-01T00:00:00Z";
     }},
    {"scope_before_validity", Reason::kKeyScope,
     [](TrustFile& t) {
       key_of(t, 5).jobs = {"job-1"};
       key_of(t, 5).valid_from = "2030-01-01T00:00:00Z";
     }},
};
INSTANTIATE_TEST_SUITE_P(Table, WithdrawalSigners, ::testing::ValuesIn(kJudged),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(Withdrawals, ScopesAndTimesThatJustFit) {
  TrustFile trust = trust_with_withdrawal();
  TrustedKey& desk = key_of(trust, 5);
  desk.region_maps = {Sha256{}};  // a notice names no region map
  desk.valid_from = "2026-03-04T05:06:07Z";
  desk.valid_until = "2026-03-04T05:06:08Z";
  EXPECT_THAT(parse(sealed(sample_list()), trust), IsOk());
}

// A list is whole, so a shorter one lets revisions go: nobody may do that for jobs that are not his.
TEST(Withdrawals, AKeyForOneJobCannotLetGoWhatOthersHold) {
  TrustFile trust = trust_with_withdrawal();
  key_of(trust, 5).jobs = {"job-7"};
  WithdrawalList shorter = sample_list();
  shorter.number = 8;
  shorter.notices.pop_back();  // the one about job-8
  EXPECT_THAT(parse(sealed(shorter), trust), FailsWith(Reason::kKeyScope));
  shorter.notices.clear();
  EXPECT_THAT(parse(sealed(shorter), trust), FailsWith(Reason::kKeyScope));
}

// The policy's threshold is for bundles; a withdrawal must never wait for a second signature.
TEST(Withdrawals, OneSignatureIsEnough) {
  TrustFile trust = trust_with_withdrawal();
  trust.threshold = 8;
  EXPECT_THAT(parse(sealed(sample_list()), trust), IsOk());
}

struct BentList {
  const char* name;
  std::function<void(WithdrawalList&)> bend;
};
class WithdrawalConsistency : public ::testing::TestWithParam<BentList> {};

TEST_P(WithdrawalConsistency, IsRefusedThoughSigned) {
  WithdrawalList list = sample_list();
  GetParam().bend(list);
  EXPECT_THAT(parse(sealed(list)), FailsWith(Reason::kWithdrawalsInvalid));
}
const BentList kBentLists[] = {
    {"another_root", [](WithdrawalList& l) { l.root = TestKey(2).id(); }},
    {"number_zero", [](WithdrawalList& l) { l.number = 0; }},
    {"claimed_time", [](WithdrawalList& l) { l.claimed_time = "yesterday"; }},
    {"fresh_until_no_time", [](WithdrawalList& l) { l.fresh_until = ""; }},
    {"fresh_until_its_beginning", [](WithdrawalList& l) { l.fresh_until = l.claimed_time; }},
    {"out_of_order", [](WithdrawalList& l) { std::swap(l.notices[0], l.notices[1]); }},
    {"twice", [](WithdrawalList& l) { l.notices[1] = l.notices[0]; }},
    {"job_no_name", [](WithdrawalList& l) { l.notices[0].job = "Job 7"; }},
    {"controller_empty", [](WithdrawalList& l) { l.notices[0].controller = ""; }},
    {"text_of_two_lines", [](WithdrawalList& l) { l.notices[0].text = "a\nb"; }},
    {"go_to_without_going", [](WithdrawalList& l) { l.notices[1].go_back = false; }},
    {"go_to_itself", [](WithdrawalList& l) { l.notices[1].go_to = l.notices[1].revision; }},
    {"too_many", [](WithdrawalList& l) { l.notices.assign(kNoticeLimit + 1, l.notices[0]); }},
};
INSTANTIATE_TEST_SUITE_P(Table, WithdrawalConsistency, ::testing::ValuesIn(kBentLists),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(Withdrawals, AsManyAsMayBeFit) {
  WithdrawalList list = sample_list();
  const WithdrawalNotice one = list.notices[1];
  list.notices.clear();
  for (std::size_t i = 0; i < kNoticeLimit; ++i) {
    WithdrawalNotice notice = one;
    notice.revision.bytes[0] = static_cast<std::uint8_t>(i >> 8);
    notice.revision.bytes[1] = static_cast<std::uint8_t>(i);
    notice.job = std::string(64, 'j');
    notice.controller = std::string(64, 'c');
    notice.text = std::string(200, '"');  // doubled in the text
    list.notices.push_back(notice);
  }
  EXPECT_THAT(parse(sealed(list)), IsOkAnd(read_back(list)));
}

}  // namespace
}  // namespace calseal
