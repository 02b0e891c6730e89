// Questions as people type them.
#include "calseal/query/criterion.h"

#include <gtest/gtest.h>

#include "calseal/bundle/manifest.h"
#include "support/matchers.h"

namespace calseal {
namespace {

Result<Criterion> parsed(const std::string& text) { return parse_criterion(text, "--where"); }

TEST(Criterion, RangesAreFirstAndLastAddress) {
  const auto range = parsed("touches=flash:0x80000040-0x8000007f");
  ASSERT_THAT(range, IsOk());
  EXPECT_EQ(range->kind, CriterionKind::kTouches);
  EXPECT_EQ(range->text, "flash");
  EXPECT_EQ(range->range, (Range{0x80000040, 0x80000080}));
  const auto one = parsed("touches=eeprom:0x10");
  ASSERT_THAT(one, IsOk());
  EXPECT_EQ(one->range, (Range{0x10, 0x11}));
  EXPECT_EQ(parsed("touches=flash:0x0-0xffffffff")->range, (Range{0, std::uint64_t{1} << 32}));
}

TEST(Criterion, DigestsNumbersAndWords) {
  const std::string digest(64, 'a');
  for (const char* const word : {"map", "stock", "key", "identity"}) {
    const auto criterion = parsed(word + ("=" + digest));
    ASSERT_THAT(criterion, IsOk()) << word;
    EXPECT_EQ(criterion->digest.bytes.front(), 0xaa);
  }
  EXPECT_EQ(parsed("revision=17")->number, 17U);
  EXPECT_EQ(parsed("option=a=b")->text, "a=b");  // the first sign parts word and value
  EXPECT_EQ(parsed("vehicle=" + std::string(kFieldTextLimit, 'x'))->text.size(), kFieldTextLimit);
}

TEST(Criterion, EveryWordOfTheListIsTaken) {
  for (const CriterionWord& word : criterion_words()) {
    const std::string value = word.kind == CriterionKind::kTouches    ? "m:0x1"
                              : word.kind == CriterionKind::kRevision ? "1"
                                                                      : std::string(64, '0');
    const auto criterion = parsed(std::string(word.word) + "=" + value);
    ASSERT_THAT(criterion, IsOk()) << word.word;
    EXPECT_EQ(criterion->kind, word.kind);
  }
}

TEST(Criterion, WhatIsNoQuestionIsUsage) {
  for (const std::string& text : {std::string(),
                                  std::string("job"),
                                  std::string("=x"),
                                  std::string("jobs=x"),
                                  std::string("job="),
                                  std::string("touches=flash"),
                                  std::string("touches=:0x1"),
                                  std::string("touches=flash:1"),
                                  std::string("touches=flash:0x"),
                                  std::string("touches=flash:0x1g"),
                                  std::string("touches=flash:0x2-0x1"),
                                  std::string("touches=flash:0x1-"),
                                  std::string("touches=flash:0x1-0x2-0x3"),
                                  std::string("touches=flash:0x100000000"),
                                  std::string("touches=flash:0x-1"),
                                  "map=" + std::string(63, 'a'),
                                  "key=" + std::string(64, 'A'),
                                  std::string("revision="),
                                  std::string("revision=-1"),
                                  std::string("revision=+1"),
                                  std::string("revision=1 "),
                                  std::string("revision=99999999999999999999"),
                                  "revision=" + std::to_string(kRevisionLimit + 1),
                                  std::string("option=\xff"),
                                  "item=" + std::string(kFieldTextLimit + 1, 'x')})
    EXPECT_THAT(parsed(text), FailsWith(Reason::kUsage, "--where")) << text;
}

}  // namespace
}  // namespace calseal
