#include "calseal/job/log_time.h"

#include <array>
#include <chrono>
#include <limits>
#include <vector>

#include "calseal/base/plain_words.h"

namespace calseal {
namespace {

constexpr std::int64_t kSecond = 1'000'000'000;  // ns
constexpr std::int64_t kMinute = 60 * kSecond;
constexpr std::int64_t kHour = 60 * kMinute;
constexpr std::int64_t kDayLength = 24 * kHour;

bool is_digit(char c) { return c >= '0' && c <= '9'; }

// Takes digits from the front: their number, 1 to `most`; nothing when there are none or more.
std::optional<std::int64_t> take_digits(std::string_view& text, std::size_t most) {
  std::int64_t value = 0;
  std::size_t n = 0;
  for (; n < text.size() && is_digit(text[n]); ++n) {
    if (n == most) return std::nullopt;
    value = value * 10 + (text[n] - '0');
  }
  if (n == 0) return std::nullopt;
  text.remove_prefix(n);
  return value;
}

bool take(std::string_view& text, std::string_view one_of) {
  if (text.empty() || one_of.find(text.front()) == std::string_view::npos) return false;
  text.remove_prefix(1);
  return true;
}

// A mark and the digits behind it, in 10^-9; without a mark 0.
std::optional<std::int64_t> take_fraction(std::string_view& text, char& mark) {
  if (text.empty() || (text.front() != '.' && text.front() != ',')) return 0;
  mark = text.front();
  text.remove_prefix(1);
  std::int64_t value = 0;
  std::size_t n = 0;
  for (; n < text.size() && is_digit(text[n]); ++n) {
    if (n < 9) value = value * 10 + (text[n] - '0');
  }
  if (n == 0) return std::nullopt;
  text.remove_prefix(n);
  for (; n < 9; ++n) value *= 10;
  return value;
}

// "13:02:11.250", "02:11,5", "1:02:11 PM", taken from the front.
std::optional<std::int64_t> take_clock(std::string_view& text, char& mark) {
  std::vector<std::int64_t> parts;
  do {
    const auto part = take_digits(text, parts.empty() ? 4 : 2);
    if (!part || (!parts.empty() && *part > 59)) return std::nullopt;
    parts.push_back(*part);
  } while (parts.size() < 3 && take(text, ":"));
  if (parts.size() < 2) return std::nullopt;
  const auto fraction = take_fraction(text, mark);
  if (!fraction) return std::nullopt;
  std::int64_t seconds = 0;
  for (const std::int64_t part : parts) seconds = seconds * 60 + part;
  const std::string half = lower_case(trimmed(text).substr(0, 2));
  if (half == "am" || half == "pm") {
    if (parts.size() != 3 || parts[0] < 1 || parts[0] > 12) return std::nullopt;
    text.remove_prefix(text.find_first_not_of(" \t") + 2);
    seconds += (parts[0] == 12 ? -12 : 0) * 3600 + (half == "pm" ? 12 : 0) * 3600;
  }
  return seconds * kSecond + *fraction;
}

// "Z", "+02:00", "-0530" as nanoseconds east of UTC; nothing there is 0.
std::optional<std::int64_t> take_offset(std::string_view& text) {
  if (take(text, "Zz")) return 0;
  if (text.empty() || (text.front() != '+' && text.front() != '-')) return 0;
  const std::int64_t sign = text.front() == '+' ? 1 : -1;
  text.remove_prefix(1);
  std::string_view two = text.substr(0, 2);
  const auto hours = take_digits(two, 2);
  if (!hours || *hours > 23 || !two.empty()) return std::nullopt;
  text.remove_prefix(2);
  take(text, ":");
  const auto minutes = take_digits(text, 2);
  if (!minutes || *minutes > 59) return std::nullopt;
  return sign * (*hours * kHour + *minutes * kMinute);
}

// Days since 1970-01-01; nothing for a date that is not in the calendar.
std::optional<std::int64_t> days(std::int64_t year, std::int64_t month, std::int64_t day) {
  if (year < 1970 || year > 2261 || month < 1 || month > 12) return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year(static_cast<int>(year)),
                                         std::chrono::month(static_cast<unsigned>(month)),
                                         std::chrono::day(static_cast<unsigned>(day))};
  if (!date.ok()) return std::nullopt;
  return std::chrono::sys_days(date).time_since_epoch().count();
}

std::optional<LogTime> parse_date(std::string_view text) {
  LogTime time;
  time.kind = TimeKind::kDate;
  std::string_view rest = text;
  const auto first = take_digits(rest, 4);
  if (!first || rest.empty()) return std::nullopt;
  const char between = rest.front();
  if (!take(rest, "-./")) return std::nullopt;
  const auto second = take_digits(rest, 2);
  if (!second || !take(rest, std::string_view(&between, 1))) return std::nullopt;
  const auto third = take_digits(rest, 4);
  if (!third) return std::nullopt;
  const std::string_view date = text.substr(0, text.size() - rest.size());
  std::optional<std::int64_t> day;
  if (date.find(between) == 4) {
    day = days(*first, *second, *third);
  } else if (between == '.') {
    day = days(*third < 100 ? 2000 + *third : *third, *second, *first);
  } else {
    if (*first > 31 || *second > 31) return std::nullopt;
    time.day = date;
    day = 0;
  }
  if (!day || !take(rest, "Tt ,")) return std::nullopt;
  rest = trimmed(rest);
  const auto clock = take_clock(rest, time.mark);
  if (!clock || *clock >= kDayLength) return std::nullopt;
  const auto offset = take_offset(rest);
  if (!offset || !trimmed(rest).empty()) return std::nullopt;
  time.ns = *day * kDayLength + *clock - *offset;
  return time;
}

}  // namespace

std::optional<LogTime> parse_log_time(std::string_view text) {
  text = trimmed(text);
  if (auto date = parse_date(text)) return date;
  LogTime time;
  std::string_view rest = text;
  if (const auto clock = take_clock(rest, time.mark); clock && rest.empty()) {
    time.kind = TimeKind::kClock;
    time.ns = *clock;
    return time;
  }
  rest = text;
  time.mark = 0;
  const auto whole = take_digits(rest, 15);
  if (!whole) return std::nullopt;
  const auto fraction = take_fraction(rest, time.mark);
  if (!fraction || !rest.empty()) return std::nullopt;
  time.whole = *whole;
  time.fraction = *fraction;
  return time;
}

std::optional<std::string> find_time_unit(std::string_view text) {
  constexpr std::array<std::pair<std::string_view, std::string_view>, 18> kUnits{{{"us", "us"},
                                                                                  {"\xc2\xb5s", "us"},
                                                                                  {"\xce\xbcs", "us"},
                                                                                  {"microseconds", "us"},
                                                                                  {"ms", "ms"},
                                                                                  {"msec", "ms"},
                                                                                  {"milliseconds", "ms"},
                                                                                  {"s", "s"},
                                                                                  {"sec", "s"},
                                                                                  {"secs", "s"},
                                                                                  {"second", "s"},
                                                                                  {"seconds", "s"},
                                                                                  {"sek", "s"},
                                                                                  {"sekunden", "s"},
                                                                                  {"min", "min"},
                                                                                  {"mins", "min"},
                                                                                  {"minutes", "min"},
                                                                                  {"minuten", "min"}}};
  const std::string name = lower_case(trimmed(text));
  for (const auto& [spelling, unit] : kUnits) {
    if (name == spelling) return std::string(unit);
  }
  return std::nullopt;
}

std::optional<std::int64_t> nanoseconds(const LogTime& number, const std::string& unit) {
  const std::int64_t scale = unit == "us"   ? 1'000
                             : unit == "ms" ? 1'000'000
                             : unit == "s"  ? kSecond
                                            : kMinute;
  if (number.whole >= std::numeric_limits<std::int64_t>::max() / scale) return std::nullopt;
  const std::int64_t behind =
      scale < kSecond ? number.fraction / (kSecond / scale) : number.fraction * (scale / kSecond);
  return number.whole * scale + behind;
}

}  // namespace calseal
