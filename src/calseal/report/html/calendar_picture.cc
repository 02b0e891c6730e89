#include "calseal/report/html/calendar_picture.h"

#include <algorithm>
#include <array>
#include <map>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::array<std::string_view, 12> kMonths = {"Jan", "Feb", "Mar", "Apr", "May", "Jun",
                                                      "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"};
constexpr std::uint64_t kTall = 30;   // of the tallest bar
constexpr std::uint64_t kFloor = 33;  // where bars stand

// Never nothing where there is something.
std::uint64_t height_of(std::uint64_t count, std::uint64_t most) {
  return count == 0 ? 0 : std::max<std::uint64_t>(3, count * kTall / std::max<std::uint64_t>(most, 1));
}

Html bar(MarkupName name, std::uint64_t top, std::uint64_t height) {
  return element(
      name, {{"x", "15%"}, {"width", "70%"}, {"y", std::to_string(top)}, {"height", std::to_string(height)}});
}

// What fits under a bar on a phone.
std::string short_number(std::uint64_t count) {
  if (count < 10'000) return std::to_string(count);
  return count < 10'000'000 ? std::to_string(count / 1000) + "k" : std::to_string(count / 1'000'000) + "M";
}

Html sign_with_number(MarkupName name, std::string_view sign, std::uint64_t count) {
  if (count == 0) return {};
  return element(name, sign, " ", count > 99 ? std::string("99+") : std::to_string(count));
}

Html cell(const CalendarMonth* month, std::uint64_t most) {
  Html drawn = element("line.base", {{"x1", "0"}, {"x2", "100%"}, {"y1", "33.5"}, {"y2", "33.5"}});
  if (month != nullptr) {
    const std::uint64_t full = height_of(month->full, most);
    const std::uint64_t hollow = std::min(height_of(month->hollow, most), kFloor - 1 - full);
    if (full != 0) drawn += bar("rect.full", kFloor - full, full);
    if (hollow != 0) drawn += bar("rect.hollow", kFloor - full - hollow, hollow);
  }
  Html out =
      element("svg.month",
              {{"width", "100%"}, {"height", "36"}, {"aria-hidden", "true"}, {"focusable", "false"}}, drawn);
  if (month == nullptr) return element("td", out, element("span.unseen", "nothing"));
  const Html count =
      month->full + month->hollow == 0 ? Html() : element("span.count", short_number(month->full + month->hollow));
  out += element("span.marks", {{"aria-hidden", "true"}}, count,
                 sign_with_number("span.sign.bad", "✕", month->bad),
                 sign_with_number("span.sign.mind", "!", month->mind));
  return element("td", out, element("span.unseen", month->words));
}

Html bar_key(MarkupName name, std::string_view word) {
  return element("span.key",
                 element("svg.swatch.month",
                         {{"width", "22"}, {"height", "14"}, {"aria-hidden", "true"}, {"focusable", "false"}},
                         element(name, {{"x", "3"}, {"y", "0.7"}, {"width", "16"}, {"height", "12.6"}})),
                 " ", word);
}

Html sign_key(MarkupName name, std::string_view sign, std::string_view word) {
  return element("span.key", element(name, {{"aria-hidden", "true"}}, sign), " ", word);
}

}  // namespace

Html calendar_picture(const Calendar& calendar) {
  std::map<std::uint64_t, std::array<const CalendarMonth*, 12>> years;
  std::uint64_t most = 1;
  for (const CalendarMonth& month : calendar.months) {
    years[month.year][month.month - 1] = &month;
    most = std::max(most, month.full + month.hollow);
  }
  Html head = element("th", {{"scope", "col"}}, element("span.unseen", "year"));
  for (const std::string_view month : kMonths) head += element("th", {{"scope", "col"}}, month);
  Html rows;
  std::size_t left_out = years.size() - std::min(years.size(), kCalendarYears);
  const std::size_t not_drawn = left_out;
  for (const auto& [year, months] : years) {
    if (left_out != 0) {
      --left_out;
      continue;
    }
    Html row = element("th", {{"scope", "row"}}, std::to_string(year));
    for (const CalendarMonth* month : months) row += cell(month, most);
    rows += element("tr", row);
  }
  Html out = element("table.calendar", element("caption", calendar.caption),
                     element("thead", element("tr", head)), element("tbody", rows));
  if (not_drawn != 0) out += element("p.quiet", grouped(not_drawn) + " years before these are not drawn.");
  return out;
}

Html calendar_key_full(std::string_view word) { return bar_key("rect.full", word); }
Html calendar_key_hollow(std::string_view word) { return bar_key("rect.hollow", word); }
Html calendar_key_bad(std::string_view word) { return sign_key("span.sign.bad", "✕", word); }
Html calendar_key_mind(std::string_view word) { return sign_key("span.sign.mind", "!", word); }

}  // namespace calseal
