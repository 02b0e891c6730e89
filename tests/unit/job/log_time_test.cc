#include "calseal/job/log_time.h"

#include <gtest/gtest.h>

#include <ctime>

#include "support/random.h"

namespace calseal {
namespace {

std::int64_t seconds_of(std::string_view text) {
  const auto time = parse_log_time(text);
  if (!time || time->kind == TimeKind::kNumber) return -1;
  return time->ns / 1'000'000'000;
}

TEST(LogTime, Numbers) {
  const auto time = parse_log_time(" 12,25 ");
  ASSERT_TRUE(time.has_value());
  EXPECT_EQ(time->kind, TimeKind::kNumber);
  EXPECT_EQ(time->mark, ',');
  EXPECT_EQ(nanoseconds(*time, "s"), 12'250'000'000);
  EXPECT_EQ(nanoseconds(*time, "ms"), 12'250'000);
  EXPECT_EQ(nanoseconds(*time, "us"), 12'250);
  EXPECT_EQ(nanoseconds(*time, "min"), 735'000'000'000);
  EXPECT_EQ(nanoseconds(*parse_log_time("1790000000123"), "ms"), 1'790'000'000'123'000'000);
  EXPECT_EQ(nanoseconds(*parse_log_time("0.1234567899999"), "s"), 123'456'789);
  EXPECT_FALSE(nanoseconds(*parse_log_time("999999999999999"), "s").has_value());
  for (const char* text :
       {"", " ", "-1", "+1", "1.", ".5", "1e3", "1.5.2", "1 2", "1,000.5", "0x10", "1234567890123456"})
    EXPECT_FALSE(parse_log_time(text).has_value()) << text;
}

TEST(LogTime, Clocks) {
  EXPECT_EQ(seconds_of("13:02:11"), 13 * 3600 + 2 * 60 + 11);
  EXPECT_EQ(parse_log_time("02:11,5")->ns, 131'500'000'000);
  EXPECT_EQ(seconds_of("12:00:01 AM"), 1);
  EXPECT_EQ(seconds_of("12:00:01 pm"), 12 * 3600 + 1);
  EXPECT_EQ(seconds_of("1:02:11PM"), 13 * 3600 + 2 * 60 + 11);
  EXPECT_EQ(seconds_of("26:00:00"), 26 * 3600);  // since the start
  for (const char* text : {"13:60:00", "13:00:60", "13:", ":13", "0:00:01 PM", "13:00:00 PM", "1:02 PM",
                           "1:2:3:4", "12:00:00 XM"})
    EXPECT_FALSE(parse_log_time(text).has_value()) << text;
}

// RFC 3339, section 5.8, the first three examples (recalled, not looked up), by their own arithmetic.
TEST(LogTime, DatesOfTheStandard) {
  EXPECT_EQ(parse_log_time("1985-04-12T23:20:50.52Z")->ns, 482'196'050'520'000'000);
  EXPECT_EQ(seconds_of("1996-12-19T16:39:57-08:00"), 851'042'397);
  EXPECT_EQ(seconds_of("1996-12-20T00:39:57Z"), 851'042'397);
}

TEST(LogTime, DatesAsLoggersWriteThem) {
  const std::int64_t first = seconds_of("2026-05-01 13:02:11");
  EXPECT_EQ(seconds_of("01.05.2026 13:02:11"), first);
  EXPECT_EQ(seconds_of("1.5.26 13:02:11"), first);
  EXPECT_EQ(seconds_of("2026/05/01 13:02:11.000"), first);
  EXPECT_EQ(seconds_of("2026-05-01T15:02:11+0200"), first);
  const auto slashes = parse_log_time("5/1/2026 1:02:11 PM");
  ASSERT_TRUE(slashes.has_value());
  EXPECT_EQ(slashes->day, "5/1/2026");
  EXPECT_EQ(slashes->ns, std::int64_t{13 * 3600 + 2 * 60 + 11} * 1'000'000'000);
  for (const char* text :
       {"2026-02-30 10:00:00", "2026-05-01", "31.13.2026 10:00:00", "40/1/2026 10:00:00",
        "2026-05-01 24:00:00", "2026-05-01T10:00:00+25:00", "2026-05-01T10:00:00 x", "1969-12-31 10:00:00"})
    EXPECT_FALSE(parse_log_time(text).has_value()) << text;
}

// The C library makes the same of any moment.
TEST(LogTime, AnyMomentIsThatOfTheCLibrary) {
  Random random;
  for (int round = 0; round < 2000; ++round) {
    const auto moment = static_cast<std::time_t>(random.between(0, 9'000'000'000));
    std::tm parts{};
    gmtime_r(&moment, &parts);
    for (const char* format : {"%Y-%m-%dT%H:%M:%SZ", "%d.%m.%Y %H:%M:%S", "%Y/%m/%d %I:%M:%S %p"}) {
      char text[64];
      ASSERT_GT(std::strftime(text, sizeof text, format, &parts), 0U);
      EXPECT_EQ(seconds_of(text), moment) << text;
    }
  }
}

}  // namespace
}  // namespace calseal
