#include "calseal/cli/console/fold.h"

#include <gmock/gmock.h>

#include <sstream>

#include "support/random.h"

namespace calseal {
namespace {

TEST(Fold, WhatFitsStaysAsItIs) {
  const std::string text = "ACCEPTED  engine\n  job       oak-17\n\n  - keep it\n";
  EXPECT_EQ(fold_lines(text, 12, 48), text);
  EXPECT_EQ(fold_lines("", 12, 48), "");
  EXPECT_EQ(fold_lines("no line end", 12, 48), "no line end");
}

TEST(Fold, ValuesHangUnderTheirBeginning) {
  EXPECT_EQ(fold_lines("  found     one two three four\n", 12, 24),
            "  found     one two\n            three four\n");
  EXPECT_EQ(fold_lines("  checksums 16 of 16 hold, all\n", 12, 24),
            "  checksums 16 of 16\n            hold, all\n");
  EXPECT_EQ(fold_lines("  - hold the supply voltage\n", 12, 20), "  - hold the supply\n    voltage\n");
  EXPECT_EQ(fold_lines("hint: run it once more\n", 12, 16), "hint: run it\n      once more\n");
  EXPECT_EQ(fold_lines("Before you write it down:\n", 12, 16), "Before you write\nit down:\n");
}

TEST(Fold, LongWordsStayWholeAndColoursTakeNoRoom) {
  const std::string digest(64, 'a');
  EXPECT_EQ(fold_lines("  identity  " + digest + "\n", 12, 40), "  identity  " + digest + "\n");
  EXPECT_EQ(fold_lines("  identity  see " + digest + "\n", 12, 40),
            "  identity  see\n            " + digest + "\n");
  const std::string red = "\x1b[1;35mred\x1b[0m";
  EXPECT_EQ(fold_lines(red + " and " + red + "\n", 12, 11), red + " and " + red + "\n");
  EXPECT_EQ(fold_lines("\xc3\xa4\xc3\xb6\xc3\xbc 567\n", 12, 7), "\xc3\xa4\xc3\xb6\xc3\xbc 567\n");
}

TEST(Fold, LosesNoWordAndOnlyLongWordsStandOut) {
  Random random;
  for (int i = 0; i < 2000; ++i) {
    std::string text = random.between(0, 1) == 0 ? "  label     " : "";
    for (std::uint64_t words = random.between(1, 30); words != 0; --words)
      text += std::string(static_cast<std::size_t>(random.between(1, 12)), 'x') +
              std::string(static_cast<std::size_t>(random.between(1, 3)), ' ');
    text += "\n";
    const std::string folded = fold_lines(text, 12, 40);
    std::istringstream before(text), after(folded), lines(folded);
    for (std::string a, b; before >> a;) {
      ASSERT_TRUE(after >> b);
      EXPECT_EQ(a, b);
    }
    for (std::string line; std::getline(lines, line);) {
      const std::size_t words = line.find_last_not_of(' ') + 1;
      EXPECT_LE(words, 40u) << text;
    }
  }
}

}  // namespace
}  // namespace calseal
