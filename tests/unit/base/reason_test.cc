// The table of reasons as programs see it. That each one is reached by a test is judged by
// tests/cli/reasons_reached.py.
#include "calseal/base/reason.h"

#include <gtest/gtest.h>

#include <algorithm>
#include <set>
#include <string>

namespace calseal {
namespace {

bool is_code(std::string_view text) {
  if (text.empty() || text.front() == '-' || text.back() == '-' || text.find("--") != std::string_view::npos)
    return false;
  return std::ranges::all_of(text, [](char c) { return (c >= 'a' && c <= 'z') || c == '-'; });
}

// "kReadMissing" for "read-missing".
std::string enumerator_for(std::string_view code) {
  std::string name = "k";
  bool upper = true;
  for (const char c : code) {
    if (c == '-') {
      upper = true;
      continue;
    }
    name += upper ? static_cast<char>(c - 'a' + 'A') : c;
    upper = false;
  }
  return name;
}

TEST(Reasons, EachRowIsWhole) {
  std::set<std::string_view> codes;
  std::set<std::string_view> meanings;
  for (const ReasonInfo& row : all_reasons()) {
    EXPECT_TRUE(is_code(row.code)) << row.code;
    EXPECT_EQ(row.enumerator, enumerator_for(row.code));
    EXPECT_TRUE(codes.insert(row.code).second) << row.code;
    EXPECT_TRUE(meanings.insert(row.meaning).second) << row.code << " says the same as another";
    for (const std::string_view text : {row.meaning, row.when}) {
      EXPECT_GT(text.size(), 10U) << row.code;
      EXPECT_EQ(text.back(), '.') << row.code;
    }
  }
}

TEST(Reasons, TableAndEnumeratorsAreInOneOrder) {
  std::size_t at = 0;
  for (const ReasonInfo& row : all_reasons()) {
    EXPECT_EQ(static_cast<std::size_t>(row.reason), at++);
    EXPECT_EQ(&info(row.reason), &row);
    EXPECT_EQ(code(row.reason), row.code);
    EXPECT_EQ(find_reason(row.code), row.reason);
  }
  EXPECT_FALSE(find_reason("no-such-reason"));
  EXPECT_FALSE(find_reason(""));
}

TEST(Reasons, ExitStatusFollowsTheClass) {
  EXPECT_EQ(exit_status(Reason::kInterrupted), 130);
  EXPECT_EQ(exit_status(Reason::kReadMissing), 1);
  EXPECT_EQ(exit_status(Reason::kUsage), 2);
  EXPECT_EQ(exit_status(Reason::kPassphraseMissing), 2);
  EXPECT_EQ(exit_status(Reason::kWriteFailed), 3);
  EXPECT_EQ(exit_status(Reason::kOutOfMemory), 4);
  EXPECT_EQ(exit_status(Reason::kInternal), 4);
  for (const ReasonInfo& row : all_reasons()) {
    if (row.reason == Reason::kInterrupted) continue;
    EXPECT_EQ(exit_status(row.reason), static_cast<int>(row.exit_class)) << row.code;
  }
}

}  // namespace
}  // namespace calseal
