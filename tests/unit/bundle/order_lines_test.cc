#include "calseal/bundle/order_lines.h"

#include <gtest/gtest.h>

namespace calseal {
namespace {

TEST(OrderLines, WhatWasOrderedComesFirstThenWhatIsInItBesides) {
  Manifest manifest;
  manifest.options = {{"winter", "Winter", {}}, {"towing", "Towing", {}}, {"fan", "Fan", {}}};
  manifest.ordered = {
      "2026-03-01T00:00:00Z", std::nullopt, {{"launch", "", "next week"}, {"towing", "Towing", ""}}};
  const std::vector<OrderLine> lines = order_lines(manifest);
  ASSERT_EQ(lines.size(), 4U);
  EXPECT_EQ(order_subject(lines[0]) + ": " + order_words(lines[0]),
            "launch: NOT in this revision: next week");
  EXPECT_EQ(order_subject(lines[1]) + ": " + order_words(lines[1]), "Towing (towing): in this revision");
  EXPECT_EQ(order_subject(lines[2]) + ": " + order_words(lines[2]),
            "Winter (winter): in this revision, and was not ordered");
  EXPECT_EQ(lines[3].name, "fan");
}

TEST(OrderLines, NothingWhereNoOrderIsKnown) {
  Manifest manifest;
  manifest.options = {{"winter", "Winter", {}}};
  EXPECT_TRUE(order_lines(manifest).empty());
}

TEST(OrderLines, WordsOfTheBundleAreMadePrintable) {
  const OrderLine line{"launch", "a\x1b[2Jb", OrderState::kNotIn, "why\x07"};
  EXPECT_EQ(order_subject(line).find('\x1b'), std::string::npos);
  EXPECT_EQ(order_words(line).find('\x07'), std::string::npos);
}

}  // namespace
}  // namespace calseal
