// How much there is of something in each month, and where in it something is wrong: a row for each year.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "calseal/report/html/markup.h"

namespace calseal {

struct CalendarMonth {
  std::uint64_t year = 1970, month = 1;  // 1..12
  std::uint64_t full = 0, hollow = 0;    // of a bar; hollow stands on full
  std::uint64_t bad = 0, mind = 0;       // signs below it, with their numbers
  std::string words;                     // all of it, for those who do not see it
};

struct Calendar {
  std::string caption;
  std::vector<CalendarMonth> months;  // ascending
};

inline constexpr std::size_t kCalendarYears = 60;  // the newest are drawn

// A table: every number in it is read aloud. Bars are to one scale.
Html calendar_picture(const Calendar& calendar);

// Bars and signs with their words, for a legend.
Html calendar_key_full(std::string_view word);
Html calendar_key_hollow(std::string_view word);
Html calendar_key_bad(std::string_view word);
Html calendar_key_mind(std::string_view word);

}  // namespace calseal
