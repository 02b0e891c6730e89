#include "calseal/job/event.h"

#include <gmock/gmock.h>

#include "calseal/job/job.h"
#include "job_sample.h"
#include "support/matchers.h"

namespace calseal {
namespace {

Event full_event() {
  Event event = sample_event(EventKind::kDriven, sample_revision(2, 3, 9));
  event.sequence = 12;
  event.detail = "said \"so\"";
  event.file = "logs/a.csv";
  event.digest = compute_sha256(view_of("log"));
  event.log = LogFacts{5, 3, "Time (ms)", "ms", "0", "1030.5", 1, "1.000", "utf-8", "comma", "", "word"};
  return event;
}

TEST(Events, ComeBackAsWritten) {
  Event bare;
  bare.time = "2026-03-04T05:06:07Z";
  bare.detail = "x";
  Event ordered = bare;
  ordered.kind = EventKind::kOrdered;
  ordered.options = {"towing", "winter"};
  const std::string text = write_event(full_event()) + write_event(bare) + write_event(ordered);
  const EventList list = parse_events(text, "events");
  EXPECT_TRUE(list.broken.empty());
  EXPECT_EQ(list.events, (std::vector<Event>{full_event(), bare, ordered}));
  for (int kind = 0; kind <= static_cast<int>(EventKind::kOrdered); ++kind)
    EXPECT_EQ(find_event(event_name(static_cast<EventKind>(kind))), static_cast<EventKind>(kind));
  EXPECT_FALSE(find_event("eaten"));
}

// Cut anywhere, the lines before the cut count, and what is left of the last one is told.
TEST(Events, ACutFileLosesOneLine) {
  const std::string line = write_event(full_event());
  const std::string text = line + line;
  for (std::size_t cut = 0; cut <= text.size(); ++cut) {
    const EventList list = parse_events(std::string_view(text).substr(0, cut), "events");
    const bool whole_lines =
        cut % line.size() == 0 || cut % line.size() == line.size() - 1;  // the line end may be missing
    EXPECT_EQ(list.events.size(), (cut + 1) / line.size()) << cut;
    EXPECT_EQ(list.broken.size(), whole_lines ? 0U : 1U) << cut;
  }
}

TEST(Events, WhatSaysNothingIsListedWithItsLine) {
  const std::string good = write_event(full_event());
  for (const std::string bad : {"{}", "[]", "x", R"({"time":"now","event":"sent","base":1})",
                                R"({"time":"2026-03-04T05:06:07Z","event":"eaten","base":1})",
                                R"({"time":"2026-03-04T05:06:07Z","event":"sent","base":0})",
                                R"({"time":"2026-03-04T05:06:07Z","event":"sent","base":1,"more":1})"}) {
    const EventList list = parse_events(good + bad + "\n" + good, "events");
    EXPECT_EQ(list.events.size(), 2U) << bad;
    ASSERT_EQ(list.broken.size(), 1U) << bad;
    EXPECT_EQ(list.broken[0].line, 2U);
  }
}

TEST(JobFacts, ComeBackAsWritten) {
  const JobFacts facts{"oak-17", "engine", "blue estate", "2026-03-04T05:06:07Z"};
  EXPECT_THAT(parse_job_facts(view_of(write_job_facts(facts)), "job.json"), IsOkAnd(facts));
  for (
      const std::string_view bad :
      {R"({"calseal":"job/2"})",
       R"({"calseal":"job/1","job":"A B","controller":"engine","vehicle_reference":"","opened":"2026-03-04T05:06:07Z"})"})
    EXPECT_THAT(parse_job_facts(view_of(bad), "job.json"), FailsWith(Reason::kJobDamaged));
}

TEST(Event, ALogThatWasNotMeasuredSaysWhyAndNothingElse) {
  Event event = full_event();
  event.log = LogFacts();
  event.log->unread = "line 1, Time: no unit";
  event.log->by = "nothing";
  const std::string line = write_event(event);
  EXPECT_THAT(line, testing::HasSubstr(R"("log":{"unread":"line 1, Time: no unit","by":"nothing"})"));
  EXPECT_EQ(parse_events(line, "e").events, std::vector<Event>{event});
}

}  // namespace
}  // namespace calseal
