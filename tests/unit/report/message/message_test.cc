// The message to the customer, word for word.
#include "calseal/report/message/message.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <fstream>
#include <sstream>

#include "support/fixtures.h"

namespace calseal {
namespace {

std::string golden(const std::string& name) {
  std::ifstream file(fixtures() + "/message/" + name);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

MessageRevision engine() {
  MessageRevision revision;
  revision.file = "r3.calseal";
  revision.controller = "engine";
  revision.number = "3";
  revision.title = "more torque at half load";
  revision.notes = "Smoother from 2,000 1/min on.\nPlease log the first drive.";
  revision.phrase = "M 1855 2752 8296 1520 1214 7818 7338 5784 7085 2476 7739 1625 0584";
  revision.since = "revision 2";
  revision.changes = {"torque limit: 12 of 160 cells, +2 to +12 Nm, mean +7.5",
                      "rev-limit: 5,800 -> 6,000 1/min (+200)"};
  revision.options = {"shift light", "launch control"};
  revision.cautions = {"fuel pressure was raised: look at the lines"};
  return revision;
}

MessageFacts facts() {
  MessageFacts facts;
  facts.vehicle = "blue estate";
  facts.revisions = {engine()};
  facts.way_back = "r0.calseal";
  facts.page = "check.html";
  return facts;
}

MessageRevision transmission() {
  MessageRevision revision = engine();
  revision.file = "t2.calseal";
  revision.controller = "transmission";
  revision.number = "2";
  revision.title = "later shifts";
  revision.notes.clear();
  revision.phrase = "M 0011 2752 8296 1520 1214 7818 7338 5784 7085 2476 7739 1625 0584";
  revision.since = "the base";
  revision.changes = {};
  revision.options.clear();
  revision.cautions.clear();
  revision.requirements = {"the larger oil cooler"};
  revision.expires = "2026-12-31T00:00:00Z";
  return revision;
}

TEST(Message, IsThisForOneRevision) { EXPECT_EQ(message_to_customer(facts()), golden("revision.txt")); }

TEST(Message, WhatWasOrderedAndIsNotInItIsSaid) {
  MessageFacts with_order = facts();
  with_order.revisions[0].ordered_not_in_it = {"Launch control: the clutch is worn"};
  EXPECT_THAT(message_to_customer(with_order),
              testing::HasSubstr("\n  Ordered, and NOT in it: Launch control: the clutch is worn\n"));
}

TEST(Message, IsThisForASet) {
  MessageFacts both = facts();
  both.is_set = true;
  both.revisions.push_back(transmission());
  both.way_back = "r0.calseal and t0.calseal";
  both.page.clear();
  both.fresh_read = true;
  EXPECT_EQ(message_to_customer(both), golden("set.txt"));
  both.drivable_between = true;
  EXPECT_THAT(message_to_customer(both), testing::HasSubstr("You may drive in between."));
}

TEST(Message, IsThisForTheWayBack) {
  MessageFacts first = facts();
  first.revisions[0] = {"r0.calseal", "engine", "0", "", "", engine().phrase, "", {}, {}, {}, {}, {}, ""};
  EXPECT_EQ(message_to_customer(first), golden("way-back.txt"));
}

TEST(Message, StaysPlainAndSmallWhateverTheTextsAre) {
  MessageFacts hostile = facts();
  hostile.revisions[0].title = std::string(100000, 'x') + "\x1b[2J\xe2\x80\xae";
  hostile.revisions[0].notes = std::string(10000, '\n');
  hostile.revisions[0].changes.assign(5000, "\x01");
  const std::string text = message_to_customer(hostile);
  EXPECT_LT(text.size(), 10000U);
  EXPECT_EQ(text.find('\x1b'), std::string::npos);
  EXPECT_EQ(text.find("\xe2\x80\xae"), std::string::npos);
  EXPECT_THAT(text, testing::HasSubstr("  - and 4,992 more values and tables\n"));
}

TEST(Message, FitsAScreen) {
  const std::string text = message_to_customer(facts());
  EXPECT_LE(std::count(text.begin(), text.end(), '\n'), 45);
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) EXPECT_LE(line.size(), 76U) << line;
}

}  // namespace
}  // namespace calseal
