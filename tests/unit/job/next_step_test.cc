#include "calseal/job/next_step.h"

#include <gtest/gtest.h>

#include "job_sample.h"

namespace calseal {
namespace {

// All 16 histories of two facts about revision 0 and two about revision 1: nothing that is offered reaches
// beyond the way back before both of its facts stand.
TEST(NextStep, NothingNewerBeforeTheWayBackIsAcknowledged) {
  for (unsigned facts = 0; facts < 16; ++facts) {
    Job job = sample_job(1);
    const JobRevision& way_back = job.bases[0].revisions[0];
    const JobRevision& first = job.bases[0].revisions[1];
    if ((facts & 1U) != 0) job.events.push_back(sample_event(EventKind::kSent, way_back));
    if ((facts & 2U) != 0) job.events.push_back(sample_event(EventKind::kAcknowledged, way_back));
    if ((facts & 4U) != 0) job.events.push_back(sample_event(EventKind::kSent, first));
    if ((facts & 8U) != 0) job.events.push_back(sample_event(EventKind::kAcknowledged, first));
    const NextStep step = next_step(job);
    EXPECT_EQ(step.revision != 0, (facts & 3U) == 3U) << facts;
    EXPECT_EQ(step.command.find("--revision 1") != std::string::npos, (facts & 3U) == 3U) << facts;
    EXPECT_FALSE(step.text.empty());
  }
}

TEST(NextStep, WalksThroughARevision) {
  Job job = sample_job(0);
  job.bases[0].revisions.clear();
  EXPECT_EQ(next_step(job).code, "seal-way-back");
  job = sample_job(0);
  const auto happens = [&](EventKind kind, std::size_t revision) {
    job.events.push_back(sample_event(kind, job.bases.back().revisions[revision]));
  };
  EXPECT_EQ(next_step(job).code, "deliver-way-back");
  happens(EventKind::kSent, 0);
  EXPECT_EQ(next_step(job).code, "await-way-back");
  happens(EventKind::kAcknowledged, 0);
  EXPECT_EQ(next_step(job).code, "edit");
  job.bases[0].revisions.push_back(sample_revision(1, 1, 2));
  EXPECT_EQ(next_step(job).code, "deliver");
  job.bases[0].revisions[1].incomplete = true;
  EXPECT_EQ(next_step(job).code, "countersign");
  job.bases[0].revisions[1].incomplete = false;
  happens(EventKind::kSent, 1);
  EXPECT_EQ(next_step(job).code, "await-receipt");
  happens(EventKind::kAcknowledged, 1);
  EXPECT_EQ(next_step(job).code, "await-write");
  happens(EventKind::kWritten, 1);
  EXPECT_EQ(next_step(job).code, "confirm");
  happens(EventKind::kConfirmed, 1);
  EXPECT_EQ(next_step(job).code, "attach-log");
  happens(EventKind::kDriven, 1);
  EXPECT_EQ(next_step(job).code, "edit");
  EXPECT_EQ(next_step(job).revision, 2U);
  job.bases[0].revisions[1].withdrawn = true;
  EXPECT_EQ(next_step(job).code, "go-back");
  job.bases[0].revisions.push_back(sample_revision(1, 2, 3));
  EXPECT_EQ(next_step(job).code, "deliver");  // the newer one is what takes its place
  job.bases.emplace_back();
  job.bases.back().number = 2;
  job.bases.back().revisions.push_back(sample_revision(2, 0, 4));
  EXPECT_EQ(next_step(job).code, "deliver-way-back");
  EXPECT_EQ(next_step(job).base, 2U);
}

TEST(NextStep, AFolderNameCanBeTyped) {
  Job job = sample_job(0);
  job.folder = "my jobs/it's";
  EXPECT_NE(next_step(job).command.find("'my jobs/it'\\''s'"), std::string::npos);
}

}  // namespace
}  // namespace calseal
