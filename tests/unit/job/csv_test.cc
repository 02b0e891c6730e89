#include "calseal/job/csv.h"

#include <gtest/gtest.h>

#include "log_pieces.h"
#include "support/matchers.h"
#include "support/random.h"

namespace calseal {
namespace {

using Rows = std::vector<std::vector<std::string>>;

Result<Rows> read_all(std::string_view text, char separator = ',') {
  LogLines lines(in_pieces(text, 7), "log.csv");
  CsvReader reader(lines, separator, "log.csv");
  Rows rows;
  std::vector<std::string> row;
  for (;;) {
    CALSEAL_ASSIGN(const bool more, reader.next(row));
    if (!more) return rows;
    rows.push_back(row);
  }
}

// RFC 4180, section 2, the examples of rules 1 to 7 (recalled, not looked up).
TEST(Csv, ExamplesOfTheStandard) {
  const Rows plain{{"aaa", "bbb", "ccc"}, {"zzz", "yyy", "xxx"}};
  EXPECT_THAT(read_all("aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n"), IsOkAnd(plain));
  EXPECT_THAT(read_all("aaa,bbb,ccc\r\nzzz,yyy,xxx"), IsOkAnd(plain));
  EXPECT_THAT(read_all("\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx"), IsOkAnd(plain));
  EXPECT_THAT(read_all("\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx"),
              IsOkAnd(Rows{{"aaa", "b\nbb", "ccc"}, {"zzz", "yyy", "xxx"}}));
  EXPECT_THAT(read_all("\"aaa\",\"b\"\"bb\",\"ccc\""), IsOkAnd(Rows{{"aaa", "b\"bb", "ccc"}}));
}

TEST(Csv, OtherSeparatorsAndLineEnds) {
  EXPECT_THAT(read_all("a;b,c\n1;2\n", ';'), IsOkAnd(Rows{{"a", "b,c"}, {"1", "2"}}));
  EXPECT_THAT(read_all("a\tb\n", '\t'), IsOkAnd(Rows{{"a", "b"}}));
  EXPECT_THAT(read_all("\xef\xbb\xbf"
                       "a,b\n"),
              IsOkAnd(Rows{{"a", "b"}}));
  EXPECT_THAT(read_all(",\n,\n"), IsOkAnd(Rows{{"", ""}, {"", ""}}));
  EXPECT_THAT(read_all(""), IsOkAnd(Rows{}));
}

TEST(Csv, WhatIsMalformedIsNamedByItsLine) {
  const std::pair<std::string_view, std::string_view> cases[] = {
      {"a,b\n1,2\"\n", "line 2"}, {"a,b\n1,\"2\n", "line 2"}, {"a,b\n1,\"2\"3\n", "line 2"},
      {"a,b\r1,2\n", "line 1"},   {"a,\x01\n", "line 1"},     {"a,\x7f\n", "line 1"},
      {"a,\x81\n", "line 1"},     {"a,\"x\n\"y\n", "line 2"},
  };
  for (const auto& [text, line] : cases)
    EXPECT_THAT(read_all(text), FailsWith(Reason::kLogMalformed, std::string(line))) << text;
}

TEST(Csv, Bounds) {
  EXPECT_THAT(read_all(std::string(kCsvFieldLimit, 'x') + ",b"), IsOk());
  EXPECT_THAT(read_all(std::string(kCsvFieldLimit + 1, 'x') + ",b"), FailsWith(Reason::kLogMalformed));
  EXPECT_THAT(read_all("\"" + std::string(kCsvFieldLimit + 1, 'x') + "\",b"),
              FailsWith(Reason::kLogMalformed));
  EXPECT_THAT(read_all(std::string(kCsvColumnLimit - 1, ',')), IsOk());
  EXPECT_THAT(read_all(std::string(kCsvColumnLimit, ',')), FailsWith(Reason::kLogMalformed));
}

// Written by plain code, read back the same.
TEST(Csv, AnyFieldsComeBack) {
  Random random;
  const std::string_view alphabet = "ab,;\"\n \t1";
  for (int round = 0; round < 300; ++round) {
    Rows rows(1 + random.between(0, 3), std::vector<std::string>(1 + random.between(0, 4)));
    std::string text;
    const std::size_t columns = rows.front().size();
    for (auto& row : rows) {
      row.resize(columns);
      for (std::size_t i = 0; i < columns; ++i) {
        for (std::uint64_t n = random.between(0, 5); n > 0; --n)
          row[i] += alphabet[random.between(0, alphabet.size() - 1)];
        std::string quoted;
        for (const char c : row[i]) quoted += c == '"' ? "\"\"" : std::string(1, c);
        text += (i == 0 ? "" : ",") + std::string("\"") + quoted + "\"";
      }
      text += random.between(0, 1) == 0 ? "\n" : "\r\n";
    }
    EXPECT_THAT(read_all(text), IsOkAnd(rows)) << text;
  }
}

}  // namespace
}  // namespace calseal
