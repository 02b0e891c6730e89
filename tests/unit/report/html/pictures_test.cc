#include <gmock/gmock.h>

#include <regex>

#include "calseal/report/html/calendar_picture.h"
#include "calseal/report/html/memory_picture.h"
#include "calseal/report/html/time_picture.h"
#include "calseal/report/html/value_picture.h"

namespace calseal {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

std::size_t count(const std::string& text, const std::string& part) {
  std::size_t found = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++found;
  return found;
}

// Every place of a picture, in percent of its width.
std::vector<double> percents(const std::string& markup) {
  std::vector<double> values;
  const std::regex pattern("\"([0-9.]+)%\"");
  for (auto at = std::sregex_iterator(markup.begin(), markup.end(), pattern); at != std::sregex_iterator();
       ++at)
    values.push_back(std::stod((*at)[1]));
  return values;
}

constexpr Range kFlash{0x80000000, 0x80400000};

TEST(MemoryPicture, TwentyBytesInFourMebibytesShow) {
  MemoryPicture picture;
  picture.extent = kFlash;
  for (std::uint64_t i = 0; i < 20; ++i) {
    const std::uint64_t at = kFlash.begin + 0x10000 + i * 0x30000;
    picture.marks.push_back({{at, at + 1}, false});
    picture.flags.push_back({at, std::string(1, static_cast<char>('A' + i))});
  }
  const std::string made = memory_picture(picture).markup();
  EXPECT_EQ(count(made, "class=\"changed\""), 20u);
  EXPECT_EQ(count(made, "class=\"pin\""), 20u);
  EXPECT_EQ(count(made, "class=\"flag\""), 20u);
}

TEST(MemoryPicture, NeighboursShareAFlag) {
  MemoryPicture picture;
  picture.extent = {0, 1000};
  picture.flags = {{100, "A"}, {110, "B"}, {120, "C"}, {900, "D"}};
  const std::string made = memory_picture(picture).markup();
  EXPECT_THAT(made, HasSubstr("A–C<"));
  EXPECT_THAT(made, HasSubstr(">D<"));
}

TEST(MemoryPicture, IsDrawnToScale) {
  MemoryPicture picture;
  picture.extent = kFlash;
  picture.pieces = {{{kFlash.begin, kFlash.begin + 0x100000}, SpanKind::kEditable, true},
                    {{kFlash.begin + 0x100000, kFlash.end}, SpanKind::kVolatile, true}};
  const std::string made = memory_picture(picture).markup();
  EXPECT_THAT(made, HasSubstr("x=\"0%\" y=\"27\" width=\"25%\""));
  EXPECT_THAT(made, HasSubstr("x=\"25%\" y=\"27\" width=\"75%\""));
}

TEST(MemoryPicture, SmallPiecesAreStrokesAndUnknownOnesHaveTheirPattern) {
  MemoryPicture picture;
  picture.extent = kFlash;
  picture.pieces = {{{kFlash.begin, kFlash.begin + 4}, SpanKind::kDerived, true},
                    {{kFlash.begin + 0x200000, kFlash.end}, SpanKind::kLocked, false}};
  const std::string made = memory_picture(picture).markup();
  EXPECT_EQ(count(made, "class=\"small\""), 1u);
  EXPECT_THAT(made, HasSubstr("url(#fill-unknown)"));
  EXPECT_THAT(made, Not(HasSubstr("url(#fill-derived)")));
}

TEST(MemoryPicture, StaysSmallAndInsideWhateverItHolds) {
  MemoryPicture picture;
  picture.extent = {0, std::uint64_t{1} << 28};
  for (std::uint64_t i = 0; i < 100'000; ++i) {
    const std::uint64_t at = i * 2600;
    picture.pieces.push_back({{at, at + 4}, static_cast<SpanKind>(i % 6), i % 7 != 0});
    picture.marks.push_back({{at, at + 1}, i % 2 == 0});
    picture.boxes.push_back({{at, at + 4}, "name", i % 2 == 0});
  }
  for (const bool apart : {false, true}) {
    picture.boxes_apart = apart;
    const std::string made = memory_picture(picture).markup();
    EXPECT_LT(made.size(), 400'000u);
    for (const double value : percents(made)) EXPECT_LE(value, 100.0);
  }
}

TEST(Values, AreReadBackFromTheirText) {
  EXPECT_EQ(shown_value("12.5").number, 12.5);
  EXPECT_EQ(shown_value("~0.333333").number, 0.333333);
  EXPECT_EQ(shown_value("undefined").number, std::nullopt);
  EXPECT_EQ(shown_value("").number, std::nullopt);
}

TEST(Values, DifferHonestly) {
  const auto by = [](const char* before, const char* after) {
    return difference_text(shown_value(before), shown_value(after));
  };
  EXPECT_EQ(by("12.5", "12.6"), "+0.1");
  EXPECT_EQ(by("546.5", "579.2"), "+32.7");
  EXPECT_EQ(by("3", "2.75"), "-0.25");
  EXPECT_EQ(by("7", "7"), "0");
  EXPECT_EQ(by("undefined", "7"), "");
  EXPECT_EQ(by("1e+300", "7"), "");
}

GridPicture grid(std::uint64_t columns, std::uint64_t rows, std::vector<std::uint64_t> changed) {
  GridPicture picture;
  picture.columns = columns, picture.rows = rows;
  picture.changed.assign(static_cast<std::size_t>(columns * rows), false);
  for (std::uint64_t i = 0; i < columns * rows; ++i) {
    picture.before.push_back({std::to_string(i), static_cast<double>(i)});
    picture.after.push_back(picture.before.back());
  }
  for (const std::uint64_t i : changed) {
    picture.changed[static_cast<std::size_t>(i)] = true;
    picture.after[static_cast<std::size_t>(i)] = {std::to_string(i + 1), static_cast<double>(i + 1)};
  }
  picture.caption = "table";
  return picture;
}

TEST(Grid, ASmallOneIsWholeAndSaysWhichWay) {
  const std::string made = grid_picture(grid(4, 3, {5})).markup();
  EXPECT_EQ(count(made, "<td"), 12u);
  EXPECT_THAT(
      made,
      HasSubstr("<td class=\"moved up\"><strong><span class=\"sign\">▲</span>6</strong><del>5</del></td>"));
  EXPECT_THAT(made, Not(HasSubstr("Rows ")));
}

TEST(Grid, ALargeOneShowsWhereItChanged) {
  const std::string made = grid_picture(grid(60, 60, {60 * 30 + 30, 60 * 31 + 31})).markup();
  EXPECT_EQ(count(made, "<td"), 16u);
  EXPECT_THAT(made, HasSubstr("Rows 29 to 32 of 60, columns 29 to 32 of 60."));
  EXPECT_LT(grid_picture(grid(64, 64, {0, 64 * 64 - 1})).markup().size(), 100'000u);
}

TEST(Grid, WithoutTheValuesBeforeItShowsThoseAfter) {
  GridPicture picture = grid(2, 2, {1});
  picture.before.clear();
  const std::string made = grid_picture(picture).markup();
  EXPECT_THAT(made, Not(HasSubstr("<del>")));
  EXPECT_THAT(made, HasSubstr("<td class=\"moved\"><strong>2</strong></td>"));
}

TEST(Curve, DrawsBothSides) {
  CurvePicture picture;
  for (int i = 0; i < 5; ++i) {
    picture.x_before.push_back(shown_value(std::to_string(i * 500)));
    picture.x_after.push_back(picture.x_before.back());
    picture.before.push_back(shown_value(std::to_string(100 + i)));
    picture.after.push_back(shown_value(std::to_string(100 + i + (i > 2 ? 10 : 0))));
  }
  picture.x_unit = "1/min", picture.unit = "Nm";
  const std::string made = curve_picture(picture).markup();
  EXPECT_EQ(count(made, "<polyline"), 2u);
  EXPECT_EQ(count(made, "class=\"moved\""), 2u);
  EXPECT_EQ(count(made, "class=\"kept\""), 3u);
  EXPECT_THAT(made, HasSubstr("114 Nm"));
  EXPECT_THAT(made, HasSubstr("0 to 2000 1/min"));
}

TEST(Curve, AnAxisThatDoesNotRiseIsNumbered) {
  CurvePicture picture;
  for (const char* x : {"1", "1", "0"})
    picture.x_after.push_back(shown_value(x)), picture.after.push_back(shown_value("7"));
  EXPECT_THAT(curve_picture(picture).markup(), HasSubstr("points 0 to 2"));
}

std::vector<ShownValue> values(std::initializer_list<const char*> texts) {
  std::vector<ShownValue> made;
  for (const char* text : texts) made.push_back(shown_value(text));
  return made;
}

TEST(Curve, RepeatedEndsOfAnAxisKeepItsValues) {
  CurvePicture picture;
  picture.x_after = values({"0", "500", "1000", "1000", "1000"});
  picture.after = values({"1", "2", "3", "3", "3"});
  picture.x_unit = "1/min";
  EXPECT_THAT(curve_picture(picture).markup(), HasSubstr("<span>0 to 1000 1/min</span>"));
  picture.x_after = values({"0", "0", "0", "0", "0"});
  EXPECT_THAT(curve_picture(picture).markup(), HasSubstr("<span>points 0 to 4</span>"));
}

TEST(Curve, EachSideStandsOverItsOwnAxis) {
  CurvePicture picture;
  picture.x_before = values({"0", "100", "200"});
  picture.x_after = values({"0", "300", "400"});
  picture.before = values({"0", "5", "10"});
  picture.after = picture.before;
  picture.axis_changed = true;
  const std::string made = curve_picture(picture).markup();
  EXPECT_THAT(made, HasSubstr("class=\"before\" points=\"10.0,190.0 155.0,100.0 300.0,10.0\""));
  EXPECT_THAT(made, HasSubstr("class=\"after\" points=\"10.0,190.0 445.0,100.0 590.0,10.0\""));
  EXPECT_THAT(made, HasSubstr("axis changed: 2 of 3 points moved"));
  EXPECT_THAT(made, HasSubstr("before: 0 to 200"));
  EXPECT_THAT(made, HasSubstr("after: 0 to 400"));
  EXPECT_EQ(count(made, "class=\"moved\""), 2u);
}

TEST(Curve, WithoutTheAxisBeforeBothSidesAreNumbered) {
  CurvePicture picture;
  picture.x_after = values({"0", "300"});
  picture.before = values({"0", "5"});
  picture.after = picture.before;
  picture.axis_changed = true;
  const std::string made = curve_picture(picture).markup();
  EXPECT_THAT(made, HasSubstr("points 0 to 1"));
  EXPECT_THAT(made, HasSubstr("before: not known here"));
}

TEST(Grid, AHeadThatMovedHoldsBothValues) {
  GridPicture picture = grid(60, 3, {});
  for (int i = 0; i < 60; ++i) picture.x_before.push_back(shown_value(std::to_string(i)));
  picture.x = picture.x_before;
  picture.x[30] = shown_value("30.5");
  picture.x_moved.assign(60, false);
  picture.x_moved[30] = true;
  const std::string made = grid_picture(picture).markup();
  EXPECT_THAT(made, HasSubstr("<th class=\"moved\" scope=\"col\"><strong>30.5</strong><del>30</del></th>"));
  EXPECT_THAT(made, HasSubstr("columns 29 to 31 of 60."));
  EXPECT_THAT(cells_picture(picture).markup(), HasSubstr("class=\"axis-moved\" d=\"M301 -6h8v4h-8z\""));
}

TEST(Times, MarksOfOneDayStandSideBySide) {
  TimePicture picture;
  TimeRow row;
  row.name = "revision 1";
  for (int i = 0; i < 20; ++i) row.marks.push_back({1000, TimeSign::kHandedOver, "sent"});
  picture.rows = {row};
  const std::vector<double> places = percents(time_picture(picture).markup());
  ASSERT_GE(places.size(), 20u);
  for (const double place : places) EXPECT_LE(place, 100.0);
}

TEST(CalendarPicture, EveryMonthIsToldAndOneAmongThousandsShows) {
  Calendar calendar;
  calendar.months = {{2020, 1, 5000, 0, 0, 0, "5,000 revisions sealed"},
                     {2020, 3, 0, 1, 2, 100, "1 revision sealed, 2 errors, 100 warnings"},
                     {2022, 12, 4000, 1000, 0, 0, "5,000 revisions sealed"}};
  const std::string made = calendar_picture(calendar).markup();
  EXPECT_EQ(count(made, "<td>"), 24u);  // two years; the one between has nothing
  EXPECT_EQ(count(made, ">nothing<"), 21u);
  EXPECT_THAT(made, HasSubstr("1 revision sealed, 2 errors, 100 warnings"));
  EXPECT_THAT(made, HasSubstr("99+"));
  EXPECT_THAT(made, HasSubstr("class=\"hollow\" x=\"15%\" width=\"70%\" y=\"30\" height=\"3\""));
  EXPECT_THAT(made, HasSubstr("y=\"3\" height=\"30\""));
}

TEST(CalendarPicture, OldYearsAreCountedAndNotDrawn) {
  Calendar calendar;
  for (std::uint64_t year = 1900; year < 2026; ++year) calendar.months.push_back({year, 6, 1, 0, 0, 0, "1"});
  const std::string made = calendar_picture(calendar).markup();
  EXPECT_EQ(count(made, "scope=\"row\""), kCalendarYears);
  EXPECT_THAT(made, HasSubstr("66 years before these"));
  EXPECT_THAT(made, HasSubstr(">2025<"));
}

}  // namespace
}  // namespace calseal
