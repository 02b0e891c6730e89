#include "calseal/job/drive_log.h"

#include <gtest/gtest.h>

#include "job_sample.h"
#include "support/matchers.h"
#include "support/random.h"

namespace calseal {
namespace {

TEST(DriveLog, IsMeasured) {
  const auto log =
      measure_log("Time (ms),rpm,mark\n0,900,X\n10,901,X\n20,902,\n30,903,X\n1030.5,904,X\n", {}, "l.csv");
  ASSERT_THAT(log, IsOk());
  EXPECT_EQ(log->facts, (LogFacts{5, 3, "Time (ms)", "ms", "0", "1030.5", 1, "1.000", ""}));
  EXPECT_EQ(log->constants, (std::vector<std::string>{"Time (ms)", "rpm", "mark", "X"}));
}

TEST(DriveLog, TimeMayBeNamedAndStandStill) {
  const auto log = measure_log("t,v\n5,1\n5,2\n5,3\n", {',', "t", "s"}, "l.csv");
  ASSERT_THAT(log, IsOk());
  EXPECT_EQ(log->facts.gaps, 0U);
  EXPECT_EQ(log->facts.unit, "s");
  EXPECT_EQ(measure_log("Timestamp [sec],v\n5,1\n", {}, "l.csv")->facts.unit, "s");
}

TEST(DriveLog, AStepOfFiveTimesTheUsualOneIsNoGapYet) {
  EXPECT_EQ(measure_log("time (s),v\n0,1\n1,1\n2,1\n7,1\n", {}, "l.csv")->facts.gaps, 0U);
  EXPECT_EQ(measure_log("time (s),v\n0,1\n1,1\n2,1\n7.001,1\n", {}, "l.csv")->facts.gaps, 1U);
}

TEST(DriveLog, WhatIsNoLog) {
  const std::pair<std::string_view, std::string_view> cases[] = {
      {"time (s)\n1\n", "line 1"},
      {"v,w\n1,2\n", "line 1"},
      {"time,v\n1,2\n", "line 1"},
      {"time (h),v\n1,2\n", "line 1"},
      {"time (s),time (s)\n1,2\n", "line 1"},
      {"time (s),v\n", "line 2"},
      {"time (s),v\n1,1\n0.999,1\n", "line 3"},
      {"time (s),v\n-1,1\n", "line 2"},
      {"time (s),v\n1.,1\n", "line 2"},
      {"time (s),v\n.5,1\n", "line 2"},
      {"time (s),v\n1e1,1\n", "line 2"},
      {"time (s),v\n1234567890,1\n", "line 2"},
      {"time (s),v\n,1\n", "line 2"},
      {"time (s),v\n1.2.3,1\n", "line 2"},
      {"", "line 1"},
  };
  for (const auto& [text, line] : cases)
    EXPECT_THAT(measure_log(text, {}, "l.csv"), FailsWith(Reason::kLogMalformed, std::string(line))) << text;
}

// Whatever stands in the file, it is measured or refused; and what is measured says so.
TEST(DriveLog, AnyBytesAreMeasuredOrRefused) {
  Random random;
  const std::string good = "Time (s),rpm,mark\r\n0.0,900,\"a\"\"b\"\r\n0.1,901,x\r\n0.2,902,\r\n";
  std::size_t measured = 0;
  for (int round = 0; round < 2000; ++round) {
    std::string text = good;
    for (std::uint64_t n = 1 + random.between(0, 2); n > 0; --n) {
      const std::size_t at = random.between(0, text.size() - 1);
      if (random.between(0, 1) == 0) {
        text[at] = static_cast<char>(random.between(0, 255));
      } else {
        text.erase(at, 1 + random.between(0, 2));
      }
    }
    const auto log = measure_log(text, {}, "l.csv");
    if (log) {
      ++measured;
      EXPECT_GE(log->facts.rows, 1U);
      EXPECT_LE(log->facts.rows, 5U);
    } else {
      EXPECT_THAT(log, FailsWith(Reason::kLogMalformed, "line"));
    }
  }
  EXPECT_GT(measured, 100U);
}

TEST(DriveLog, BelongsToWhomItNames) {
  Job job = sample_job(2);
  const auto named = [&](std::vector<std::string> constants) { return revisions_named_in(job, constants); };
  EXPECT_TRUE(named({"rpm", "MARK"}).empty());
  ASSERT_EQ(named({"rpm", " mark-1 "}).size(), 1U);
  EXPECT_EQ(named({"mark-1"})[0].revision->number(), 1U);
  EXPECT_EQ(named({"mark-1"})[0].by, "revision-mark");
  EXPECT_EQ(named({"0xA1B2C3D2"})[0].by, "verification-number");
  EXPECT_EQ(named({"mark-1", "mark-2"}).size(), 2U);
  EXPECT_EQ(named({"mark-1", "a1b2c3d2"}).size(), 1U);  // our own mark comes first
}

TEST(DriveLog, AMarkThatSeveralHaveOrThatIsTooShortNamesNone) {
  Job job = sample_job(2);
  job.bases[0].revisions[1].manifest.controllers[0].identity[0].text = "MARK-0";
  EXPECT_TRUE(revisions_named_in(job, {"MARK-0"}).empty());
  job.bases[0].revisions[1].manifest.controllers[0].identity[0].text = "R1";
  EXPECT_TRUE(revisions_named_in(job, {"R1"}).empty());
  // The same revision given again is the same content.
  job = sample_job(1);
  job.bases[0].revisions.push_back(sample_revision(1, 1, 3, "MARK-1"));
  ASSERT_EQ(revisions_named_in(job, {"MARK-1"}).size(), 1U);
  EXPECT_EQ(revisions_named_in(job, {"MARK-1"})[0].revision->manifest.sequence, 3U);
}

}  // namespace
}  // namespace calseal
