// What happened when: one row for each thing it happened to, one scale of time for all.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/report/html/markup.h"

namespace calseal {

// Told apart by shape alone.
enum class TimeSign : std::uint8_t {
  kBegun,
  kSealed,
  kHandedOver,
  kHeard,
  kWritten,
  kProved,
  kDriven,
  kStopped,
  kNoted
};

struct TimeMark {
  std::int64_t seconds = 0;  // since 1970
  TimeSign sign = TimeSign::kNoted;
  std::string words;  // "sent 2026-01-31"
};
struct TimeRow {
  Html name;
  std::vector<TimeMark> marks;  // in the order in which they happened
};

struct TimePicture {
  std::vector<TimeRow> rows;
  std::string first, last;  // days at the two ends
  std::string caption;
};

// Marks that would cover one another stand side by side. Every mark is also told in words.
Html time_picture(const TimePicture& picture);

// A sign with its word, for a legend.
Html time_key(TimeSign sign, std::string_view word);

}  // namespace calseal
