#include "calseal/trust/job_list.h"

#include <gtest/gtest.h>

#include <functional>

#include "calseal/base/text.h"
#include "calseal/bundle/manifest.h"
#include "support/matchers.h"
#include "support/revision_digest.h"
#include "support/sweep.h"
#include "support/test_keys.h"

namespace calseal {
namespace {

JobList sample_list() {
  JobList list;
  list.root = TestKey(1).id();
  list.job = "job-7";
  list.controller = "engine";
  list.claimed_time = "2026-03-04T05:06:07Z";
  list.revisions = {
      {revision(9), 1, 0, 1}, {revision(3), 1, 1, 2}, {revision(5), 1, 2, 5}, {revision(1), 2, 0, 6}};
  return list;
}

Result<JobList> parse(std::string_view file, const TrustFile& trust = sample_trust()) {
  return parse_job_list(view_of(file), trust, "j");
}

std::string sealed(const JobList& list, const std::vector<std::uint8_t>& signers = {2}) {
  return signed_by(write_job_list_text(list), signers);
}

TEST(JobList, ReadsBackAsWritten) {
  EXPECT_THAT(parse(sealed(sample_list())), IsOkAnd(sample_list()));
  JobList one = sample_list();
  one.revisions.resize(1);
  EXPECT_THAT(parse(sealed(one)), IsOkAnd(one));
}

TEST(JobList, TextIsInTheOrderOfTheFormat) {
  JobList list = sample_list();
  list.revisions.resize(2);
  EXPECT_EQ(write_job_list_text(list),
            R"({"calseal":"job-list/1","root":")" + digest_text(TestKey(1).id()) +
                R"(","job":"job-7","controller":"engine","claimed_time":"2026-03-04T05:06:07Z","revisions":[)"
                R"({"digest":")" +
                digest_text(revision(9)) + R"(","base":1,"revision":0,"sequence":1},{"digest":")" +
                digest_text(revision(3)) + R"(","base":1,"revision":1,"sequence":2}]})");
}

TEST(JobList, FindAndNewest) {
  const JobList list = sample_list();
  for (const ListedRevision& one : list.revisions) EXPECT_EQ(list.find(one.digest), &one);
  EXPECT_EQ(list.find(revision(2)), nullptr);
  EXPECT_EQ(list.newest().sequence, 6U);
}

TEST(JobList, EveryBitFlipAndTruncationIsRefused) {
  const TrustFile trust = sample_trust();
  const auto reasons =
      sweep_damage(sealed(sample_list()), [&](const std::string& text) { return parse(text, trust); });
  EXPECT_EQ(reasons,
            (std::set<std::string>{"job-list-invalid", "signature-bad", "signer-unknown", "type-wrong"}));
}

TEST(JobList, SizeAndKindAreBounded) {
  EXPECT_THAT(parse(std::string(kJobListSizeLimit + 1, 'x')), FailsWith(Reason::kFileTooLarge));
  EXPECT_THAT(parse(signed_by(write_trust_text(sample_trust()), {2})), FailsWith(Reason::kTypeWrong));
}

struct Judged {
  const char* name;
  Reason reason;
  std::function<void(TrustFile&)> bend;
};
class JobListSigners : public ::testing::TestWithParam<Judged> {};

TEST_P(JobListSigners, AreJudged) {
  TrustFile trust = sample_trust();
  GetParam().bend(trust);
  EXPECT_THAT(parse(sealed(sample_list()), trust), FailsWith(GetParam().reason));
}
const Judged kJudged[] = {
    {"not_listed", Reason::kSignerUnknown, [](TrustFile& t) { t.keys = {key_of(t, 3)}; }},
    {"compromised", Reason::kKeyCompromised, [](TrustFile& t) { key_of(t, 2).compromised = true; }},
    {"another_role", Reason::kRolesMissing,
     [](TrustFile& t) {
       key_of(t, 2).roles = {Role::kLedger, Role::kMapAuthor, Role::kReviewer, Role::kWithdrawal};
     }},
    {"another_job", Reason::kKeyScope, [](TrustFile& t) { key_of(t, 2).jobs = {"job-8"}; }},
    {"another_controller", Reason::kKeyScope,
     [](TrustFile& t) { key_of(t, 2).controllers = {"transmission"}; }},
    {"not_yet_valid", Reason::kKeyValidity,
     [](TrustFile& t) { key_of(t, 2).valid_from = "2026-03-04T05:06:08Z"; }},
    {"no_longer_valid", Reason::kKeyValidity,
     [](TrustFile& t) { key_of(t, 2).valid_until = "2026-03-04T05:06:07Z"; }},
};
INSTANTIATE_TEST_SUITE_P(Table, JobListSigners, ::testing::ValuesIn(kJudged),
                         [](const auto& one) { return std::string(one.param.name); });

TEST(JobList, AReviewerAloneSignsNone) {
  EXPECT_THAT(parse(sealed(sample_list(), {3})), FailsWith(Reason::kRolesMissing));
  EXPECT_THAT(parse(sealed(sample_list(), {2, 3})),
              FailsWith(Reason::kRolesMissing, digest_text(TestKey(3).id())));
}

struct BentList {
  const char* name;
  std::function<void(JobList&)> bend;
};
class JobListConsistency : public ::testing::TestWithParam<BentList> {};

TEST_P(JobListConsistency, IsRefusedThoughSigned) {
  JobList list = sample_list();
  GetParam().bend(list);
  EXPECT_THAT(parse(sealed(list)), FailsWith(Reason::kJobListInvalid));
}
const BentList kBentLists[] = {
    {"another_root", [](JobList& l) { l.root = TestKey(2).id(); }},
    {"job_no_name", [](JobList& l) { l.job = ""; }},
    {"controller_no_name", [](JobList& l) { l.controller = "Engine"; }},
    {"time", [](JobList& l) { l.claimed_time = "2026-02-30T00:00:00Z"; }},
    {"empty", [](JobList& l) { l.revisions.clear(); }},
    {"too_many", [](JobList& l) { l.revisions.assign(kJobListLimit + 1, l.revisions[0]); }},
    {"base_zero", [](JobList& l) { l.revisions[0].base = 0; }},
    {"sequence_zero", [](JobList& l) { l.revisions[0].sequence = 0; }},
    {"sequence_above_its_limit", [](JobList& l) { l.revisions[3].sequence = kSequenceLimit + 1; }},
    {"sequence_not_above_revision", [](JobList& l) { l.revisions[1].revision = 2; }},
    {"equal_sequences", [](JobList& l) { l.revisions[2].sequence = 2; }},
    {"falling_sequences", [](JobList& l) { std::swap(l.revisions[0], l.revisions[1]); }},
    {"falling_base", [](JobList& l) { l.revisions[0].base = 2; }},
    {"one_revision_twice", [](JobList& l) { l.revisions[3].digest = l.revisions[0].digest; }},
};
INSTANTIATE_TEST_SUITE_P(Table, JobListConsistency, ::testing::ValuesIn(kBentLists),
                         [](const auto& one) { return std::string(one.param.name); });

}  // namespace
}  // namespace calseal
