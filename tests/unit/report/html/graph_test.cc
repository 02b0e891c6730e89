#include <gmock/gmock.h>

#include "calseal/report/html/block_picture.h"
#include "calseal/report/html/coverage_picture.h"
#include "calseal/report/html/memory_picture.h"
#include "calseal/report/html/order_graph.h"

namespace calseal {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

std::size_t times(const std::string& text, const std::string& part) {
  std::size_t found = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) ++found;
  return found;
}

TEST(OrderGraph, EveryNeedEntersOnce) {
  const std::string made = order_graph({{"a", "", {}}, {"b", "", {0}}, {"c", "", {0, 1}}}).markup();
  EXPECT_EQ(times(made, "<circle"), 3u);
  EXPECT_EQ(times(made, "class=\"tip\""), 3u);
}

TEST(OrderGraph, LinesThatDoNotOverlapShareALane) {
  std::vector<GraphStep> chain(40);
  for (std::size_t i = 1; i < chain.size(); ++i) chain[i].needs = {i - 1};
  const std::string made = order_graph(chain).markup();
  EXPECT_EQ(times(made, "class=\"tip\""), 39u);
  EXPECT_THAT(made, HasSubstr("svg class=\"gutter\" width=\"27\""));
}

TEST(OrderGraph, NeverMoreThanItsLanes) {
  std::vector<GraphStep> steps(60);
  for (std::size_t i = 0; i + 1 < steps.size(); ++i) steps.back().needs.push_back(i);
  const std::string made = order_graph(steps).markup();
  EXPECT_EQ(times(made, "class=\"tip\""), kMostLanes);
}

TEST(OrderGraph, WhatStandsBelowIsNotDrawn) {
  EXPECT_THAT(order_graph({{"a", "", {1}}, {"b", "", {}}}).markup(), Not(HasSubstr("tip")));
}

TEST(CoveragePicture, IsToScale) {
  const std::string made = coverage_picture({{0, 1000}, {{250, 750}}, {{900, 904}}, "x"}).markup();
  EXPECT_THAT(made, HasSubstr("class=\"covered\" x=\"25%\" y=\"10\" width=\"50%\""));
  EXPECT_THAT(made, HasSubstr("x=\"90.2%\""));
}

TEST(CoveragePicture, StaysSmallAndLosesNothingFromSight) {
  CoveragePicture picture;
  picture.extent = {0, 1 << 24};
  for (std::uint64_t at = 0; at < picture.extent.end; at += 256) picture.covered.push_back({at, at + 1});
  picture.slots = picture.covered;
  EXPECT_LT(coverage_picture(picture).markup().size(), 100000u);
  // One byte in 16 MiB is seen.
  const std::string one = coverage_picture({picture.extent, {{77, 78}}, {}, ""}).markup();
  EXPECT_THAT(one, HasSubstr("width=\"0.3%\""));
}

TEST(BlockPicture, ColumnsHoldTheirBlocks) {
  Memory memory = make_memory("flash", {0x1000, 0x1000 + 64 * 1024}, 0xff);
  for (std::size_t i = 0; i < 1024; ++i) memory.bytes[2048 + i] = static_cast<std::uint8_t>(i);
  memory.known.add(Range{0x1000, 0x1000 + 63 * 1024});
  const EntropyColumns measured = entropy_columns(memory);
  EXPECT_EQ(measured.block, 1024u);
  ASSERT_EQ(measured.columns.size(), 64u);
  EXPECT_EQ(measured.columns[0]->most, 0);
  EXPECT_EQ(measured.columns[2]->least, 8);
  EXPECT_FALSE(measured.columns[63]);  // not read
}

TEST(BlockPicture, ALargeMemoryKeepsItsExtremes) {
  Memory memory = make_memory("flash", {0, 16 << 20}, 0);
  for (std::size_t i = 0; i < 1024; ++i) memory.bytes[(5 << 20) + i] = static_cast<std::uint8_t>(i);
  memory.known.add(memory.extent);
  const EntropyColumns measured = entropy_columns(memory);
  ASSERT_EQ(measured.columns.size(), kMostColumns);
  double most = 0;
  for (const auto& column : measured.columns) most = std::max(most, column->most);
  EXPECT_EQ(most, 8);
  EXPECT_LT(block_picture({measured.columns, 8, ""}).markup().size(), 20000u);
}

TEST(BlockPicture, NothingKnownIsNothingDrawn) {
  const Memory memory = make_memory("eeprom", {0, 512}, 0xff);
  const EntropyColumns measured = entropy_columns(memory);
  EXPECT_EQ(measured.block, 256u);
  EXPECT_THAT(block_picture({measured.columns, 8, ""}).markup(), HasSubstr("class=\"mean\" d=\"\""));
}

TEST(MemoryPicture, ARefusedChangeIsACross) {
  MemoryPicture picture;
  picture.extent = {0, 1000};
  picture.marks = {{{100, 101}, false, true}, {{101, 102}, true, false}, {{102, 103}, false, false}};
  const std::string made = memory_picture(picture).markup();
  EXPECT_EQ(times(made, "class=\"pin refused\""), 1u);
  EXPECT_EQ(times(made, "class=\"pin derived\""), 1u);
  EXPECT_EQ(times(made, "class=\"pin\""), 1u);
}

TEST(PlaceLetter, GoesOnAfterZ) {
  EXPECT_EQ(place_letter(0), "A");
  EXPECT_EQ(place_letter(25), "Z");
  EXPECT_EQ(place_letter(26), "A2");
}

}  // namespace
}  // namespace calseal
