#include "calseal/job/drive_log.h"

#include <gmock/gmock.h>

#include "job_sample.h"
#include "log_pieces.h"
#include "support/matchers.h"
#include "support/random.h"

namespace calseal {
namespace {

Result<MeasuredLog> measure(std::string_view text, const LogReading& reading = {}) {
  return measure_log(in_pieces(text, 11), reading, "l.csv");
}

LogFacts measured(std::uint64_t rows, std::uint64_t columns, std::string column, std::string unit,
                  std::string first, std::string last) {
  LogFacts facts;
  facts.rows = rows;
  facts.columns = columns;
  facts.time_column = std::move(column);
  facts.unit = std::move(unit);
  facts.first = std::move(first);
  facts.last = std::move(last);
  facts.encoding = "utf-8";
  facts.separator = "comma";
  return facts;
}

TEST(DriveLog, IsMeasured) {
  const auto log = measure("Time (ms),rpm,mark\n0,900,X\n10,901,X\n20,902,\n30,903,X\n1030.5,904,X\n");
  ASSERT_THAT(log, IsOk());
  LogFacts facts = measured(5, 3, "Time (ms)", "ms", "0", "1030.5");
  facts.gaps = 1;
  facts.longest_gap = "1.000";
  EXPECT_EQ(log->facts, facts);
  EXPECT_EQ(log->constants, (std::vector<std::string>{"Time (ms)", "rpm", "mark", "X"}));
}

TEST(DriveLog, TimeMayBeNamedAndStandStill) {
  const auto log = measure("q,v\n5,1\n5,2\n5,3\n", {',', "q", "s"});
  ASSERT_THAT(log, IsOk());
  EXPECT_EQ(log->facts.gaps, 0U);
  EXPECT_EQ(log->facts.unit, "s");
  EXPECT_EQ(measure("Timestamp [sec],v\n5,1\n")->facts.unit, "s");
  EXPECT_EQ(measure("time_us,v\n5,1\n")->facts.unit, "us");
  EXPECT_EQ(measure("Time ms,v\n5,1\n")->facts.unit, "ms");
}

TEST(DriveLog, AStepOfFiveTimesTheUsualOneIsNoGapYet) {
  EXPECT_EQ(measure("time (s),v\n0,1\n1,1\n2,1\n7,1\n")->facts.gaps, 0U);
  EXPECT_EQ(measure("time (s),v\n0,1\n1,1\n2,1\n7.001,1\n")->facts.gaps, 1U);
}

TEST(DriveLog, LinesBeforeTheHeaderAndARowOfUnits) {
  const auto log =
      measure("# logger 2\nsoftware: MARK-1;car=blue\n\nTime;Speed\n(ms);km/h\n0,5;10\n1,5;11\n");
  ASSERT_THAT(log, IsOk());
  LogFacts facts = measured(2, 2, "Time", "ms", "0,5", "1,5");
  facts.separator = "semicolon";
  EXPECT_EQ(log->facts, facts);
  for (const std::string text : {"logger 2", "MARK-1", "blue", "software: MARK-1;car=blue"})
    EXPECT_THAT(log->constants, testing::Contains(text));
  // The header must come within the first hundred lines.
  const std::string comments(99, '\n');
  EXPECT_THAT(measure(comments + "time (s),v\n1,2\n"), IsOk());
  EXPECT_THAT(measure(comments + "\ntime (s),v\n1,2\n"), FailsWith(Reason::kLogMalformed, "line 100"));
}

TEST(DriveLog, PreferredNamesOfTheColumnOfTime) {
  EXPECT_EQ(measure("timestamp,time (s),v\nx,1,2\n")->facts.time_column, "time (s)");
  EXPECT_THAT(measure("time (s),time (ms),v\n1,1,2\n"), FailsWith(Reason::kLogMalformed, "line 1"));
  EXPECT_EQ(measure("time (s),time (ms),v\n1,1,2\n", {0, "time (ms)", ""})->facts.unit, "ms");
}

TEST(DriveLog, ClocksPassMidnight) {
  const auto log = measure("Time,v\n23:59:58,1\n23:59:59,1\n00:00:00,1\n00:00:01,1\n00:01:01,1\n");
  ASSERT_THAT(log, IsOk());
  EXPECT_EQ(log->facts.unit, "clock");
  EXPECT_EQ(log->facts.gaps, 1U);
  EXPECT_EQ(log->facts.longest_gap, "60.000");
  EXPECT_THAT(measure("Time,v\n13:00:00,1\n12:59:59,1\n"), FailsWith(Reason::kLogMalformed, "line 3"));
}

TEST(DriveLog, DatesWithSlashesMayPassMidnightOnly) {
  const auto log =
      measure("Time,v\n5/1/2026 11:59:59 PM,1\n5/2/2026 12:00:00 AM,1\n5/2/2026 12:00:01 AM,1\n");
  ASSERT_THAT(log, IsOk());
  EXPECT_EQ(log->facts.unit, "date");
  EXPECT_EQ(log->facts.gaps, 0U);
  EXPECT_THAT(measure("Time,v\n5/1/2026 10:00:00,1\n5/2/2026 10:00:00,1\n"),
              FailsWith(Reason::kLogMalformed, "line 3"));
}

TEST(DriveLog, TheLastRowMayBeCutOff) {
  EXPECT_EQ(measure("time (s),v\n1,2\n2,3\n3")->facts.rows, 2U);
  EXPECT_EQ(measure("time (s),v\n1,2,,\n\n2,3\n\n")->facts.rows, 2U);
  EXPECT_THAT(measure("time (s),v\n1\n2,3\n"), FailsWith(Reason::kLogMalformed, "line 2"));
  EXPECT_THAT(measure("time (s),v\n1,2,3\n2,3\n"), FailsWith(Reason::kLogMalformed, "line 2"));
}

TEST(DriveLog, WhatIsNoLog) {
  const std::pair<std::string_view, std::string_view> cases[] = {
      {"time (s)\n1\n", "line 2"},
      {"v,w\n1,2\n", "line 2"},
      {"time,v\n1,2\n", "line 1"},
      {"time (h),v\n1,2\n", "line 1"},
      {"time (s),time (s)\n1,2\n", "line 1"},
      {"time (s),v\n", "line 1"},
      {"time (s),v\n1,1\n0.999,1\n", "line 3"},
      {"time (s),v\n-1,1\n", "line 2"},
      {"time (s),v\n1.,1\n", "line 2"},
      {"time (s),v\n.5,1\n", "line 2"},
      {"time (s),v\n1e1,1\n", "line 2"},
      {"time (s),v\n1234567890123456,1\n", "line 2"},
      {"time (min),v\n999999999999999,1\n", "line 2"},
      {"time (s),v\n1,1\n,1\n", "line 3"},
      {"time (s),v\n1.2.3,1\n", "line 2"},
      {"time (s);v\n1,5;1\n2.5;1\n", "line 3"},
      {"time,v\n10:00:00,1\n2026-05-01 10:00:01,1\n", "line 3"},
      {"", "line 0"},
  };
  for (const auto& [text, line] : cases)
    EXPECT_THAT(measure(text), FailsWith(Reason::kLogMalformed, std::string(line))) << text;
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
    const auto log = measure(text);
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
