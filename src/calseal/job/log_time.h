// Times as drive logs write them, made into one scale: docs/job.md, Drive logs, step 4.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace calseal {

// How one log writes its times; the first row decides, and all others must agree.
enum class TimeKind : std::uint8_t {
  kNumber,  // "12.5", "12,5": in a unit that header, units row or the tuner state
  kClock,   // "13:02:11.250", "02:11,5" (minutes), "1:02:11 PM": time of day, or since the start
  kDate     // a date before the clock: "2026-05-01T13:02:11Z", "01.05.2026 13:02:11", "5/1/2026 1:02:11 PM"
};

struct LogTime {
  TimeKind kind = TimeKind::kNumber;
  char mark = 0;              // '.' or ',' before the fraction; 0 without one
  std::int64_t whole = 0;     // kNumber: before the mark
  std::int64_t fraction = 0;  // kNumber: behind it, in 10^-9
  std::int64_t ns = 0;  // kClock: since midnight; kDate: since 1970, or since midnight where `day` is written
  std::string day;      // kDate with slashes: the date as written, as nobody can tell its day from its month
};

// The time in one field; nothing when it is none. Numbers have at most 15 digits before the mark, and digits
// beyond the ninth behind it do not count. Dates: year first (RFC 3339, section 5.6, also with a blank for
// the T and without offset), day.month.year, and with slashes, where nobody can tell which number is the
// month (common practice, no source).
std::optional<LogTime> parse_log_time(std::string_view text);

// A unit of time by any of its usual spellings as "us", "ms", "s" or "min"; nothing when it is none of them.
std::optional<std::string> find_time_unit(std::string_view text);

// A kNumber in nanoseconds; nothing beyond 290 years.
std::optional<std::int64_t> nanoseconds(const LogTime& number, const std::string& unit);

}  // namespace calseal
