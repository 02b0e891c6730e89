#include "calseal/sign/list_job.h"

#include <gtest/gtest.h>

#include "support/matchers.h"
#include "support/small_job.h"

namespace calseal {
namespace {

constexpr const char* kListTime = "2026-03-04T05:06:07Z";

SealedRevision sealed_revision(const Result<SealedBundle>& sealed, const std::string& name) {
  return {name, sealed->manifest, sealed->digest};
}

struct ListedJob : SmallJob {
  std::vector<SealedRevision> revisions{sealed_revision(seal_revision(2, edited_small(base, 9)), "r2"),
                                        sealed_revision(seal_base(), "r0"),
                                        sealed_revision(seal_revision(1, edited_small(base, 8)), "r1")};
};

TEST(JobListing, RevisionsStandInTheirOrder) {
  const ListedJob job;
  const auto list = list_job(job.revisions, job.root.id(), kListTime);
  ASSERT_THAT(list, IsOk());
  EXPECT_EQ(list->job, "job-7");
  EXPECT_EQ(list->controller, "engine");
  ASSERT_EQ(list->revisions.size(), 3U);
  for (std::uint64_t i = 0; i < 3; ++i) {
    EXPECT_EQ(list->revisions[i].revision, i);
    EXPECT_EQ(list->revisions[i].sequence, i + 1);
    EXPECT_EQ(list->revisions[i].base, 1U);
  }
  EXPECT_EQ(list->newest().digest, job.revisions[0].digest);
  std::vector<SealedRevision> twice = job.revisions;
  twice.push_back(twice[0]);
  EXPECT_THAT(list_job(twice, job.root.id(), kListTime), IsOkAnd(*list));
  const auto file = seal_job_list(*list, {job.author}, job.trust);
  ASSERT_THAT(file, IsOk());
  EXPECT_THAT(parse_job_list(view_of(*file), job.trust, "j"), IsOkAnd(*list));
}

TEST(JobListing, OneJobAndOneController) {
  const ListedJob job;
  EXPECT_THAT(list_job({}, job.root.id(), kListTime), FailsWith(Reason::kUsage, "revisions"));
  std::vector<SealedRevision> mixed = job.revisions;
  mixed[1].manifest.job = "job-8";
  EXPECT_THAT(list_job(mixed, job.root.id(), kListTime), FailsWith(Reason::kUsage));
  mixed = job.revisions;
  mixed[2].manifest.controllers[0].name = "transmission";
  EXPECT_THAT(list_job(mixed, job.root.id(), kListTime), FailsWith(Reason::kUsage));
}

TEST(JobListing, RefusesWhatReadersWouldRefuse) {
  const ListedJob job;
  std::vector<SealedRevision> sealed_twice = job.revisions;
  sealed_twice[2].manifest.sequence = 3;
  const auto conflict = list_job(sealed_twice, job.root.id(), kListTime);
  EXPECT_THAT(seal_job_list(*conflict, {job.author}, job.trust),
              FailsWith(Reason::kJobListInvalid, "sequence"));
  const auto list = list_job(job.revisions, job.root.id(), kListTime);
  EXPECT_THAT(seal_job_list(*list, {job.reviewer}, job.trust), FailsWith(Reason::kRolesMissing));
  EXPECT_THAT(seal_job_list(*list, {job.stranger}, job.trust), FailsWith(Reason::kSignerUnknown));
}

}  // namespace
}  // namespace calseal
