#include <gtest/gtest.h>

#include "calseal/image/form.h"
#include "support/matchers.h"
#include "unit/image/record_lines.h"

namespace calseal {
namespace {

const std::string kS9 = "S9030000FC\n";

Result<FormFile> parse_s(const std::string& text) {
  return parse_form_as(FormKind::kSRecord, bytes_of(text), "test.s19");
}
std::string line(unsigned type, const Bytes& body) { return s_line(type, body) + "\n"; }

testing::AssertionResult s_holds(const std::string& text, const std::vector<Segment>& segments) {
  const Result<FormFile> form = parse_s(text);
  if (!form) return testing::AssertionFailure() << testing::PrintToString(form.error());
  if (form->segments != segments)
    return testing::AssertionFailure() << testing::PrintToString(form->segments.size());
  return testing::AssertionSuccess();
}

TEST(SRecord, AddressesOfTwoThreeAndFourBytes) {
  EXPECT_TRUE(s_holds(line(1, {0x12, 0x34, 7}) + line(9, {0, 0}), {{0x1234, {7}}}));
  EXPECT_TRUE(s_holds(line(2, {0x12, 0x34, 0x56, 7}) + line(8, {0, 0, 0}), {{0x123456, {7}}}));
  EXPECT_TRUE(s_holds(line(3, {0x12, 0x34, 0x56, 0x78, 7}) + line(7, {0, 0, 0, 0}), {{0x12345678, {7}}}));
}

TEST(SRecord, TheLongestRecord) {
  Bytes body(254, 7);
  body[0] = body[1] = 0;
  EXPECT_TRUE(s_holds(line(1, body) + kS9, {{0, Bytes(252, 7)}}));
}

TEST(SRecord, RecordsThatTouchBecomeOneSegmentWhateverTheirOrder) {
  const std::vector<Segment> expected{{0x10, {1, 2, 3}}, {0x14, {4}}};
  EXPECT_TRUE(
      s_holds(line(1, {0, 0x14, 4}) + line(1, {0, 0x12, 3}) + line(1, {0, 0x10, 1, 2}) + kS9, expected));
}

TEST(SRecord, StartAddressesAreLeftAlone) {
  EXPECT_TRUE(s_holds(line(1, {0, 0, 1}) + line(9, {0x80, 0}), {{0, {1}}}));
}

TEST(SRecord, LowerCaseAndLineEnds) {
  for (const std::string eol : {"\n", "\r\n", "\r"}) {
    EXPECT_TRUE(s_holds("s1040000ab50" + eol + "S9030000fc" + eol + eol, {{0, {0xab}}}));
  }
  EXPECT_TRUE(s_holds("S1040000AB50\nS9030000FC", {{0, {0xab}}}));
}

TEST(SRecord, HeaderTextIsKeptAndMeansNothing) {
  const std::string text = line(0, {0, 0, 'x', 0x1b, 0xff}) + line(1, {0, 0, 1}) + kS9;
  EXPECT_TRUE(s_holds(text, {{0, {1}}}));
  const Result<FormFile> form = parse_s(text);
  EXPECT_THAT(write_back(*form, form->segments), IsOkAnd(bytes_of(text)));
}

TEST(SRecord, RecordsWithoutDataHoldNothingButCount) {
  EXPECT_TRUE(s_holds(line(1, {0, 0}) + line(5, {0, 1}) + kS9, {}));
}

TEST(SRecord, MalformedRecords) {
  const std::string good = line(1, {0, 0, 1});
  for (const std::string bad : {
           "",                // an empty line
           "S",               // no type
           "SA",              // type is not a decimal digit
           "X1040001 1F9",    // no mark
           ":00000001FF",     // the mark of the other form
           "S1",              // no count
           "S10",             //
           "S100",            // count of 0: not even a checksum
           "S101FE",          // too short for its address
           "S10200FD",        //
           "S1040001",        // cut
           "S104000101F",     // odd digits
           "S104000101F900",  // longer than its count
           "S105000101F8",    // shorter than its count
           "S104000101F9 ",   // a blank
           "S1040001G1F9",    // not a digit
       }) {
    EXPECT_THAT(parse_s(good + bad + "\n" + kS9), FailsWith(Reason::kRecordMalformed, "line 2")) << bad;
  }
}

TEST(SRecord, TypesHaveTheirLengths) {
  // Body bytes: address, count or start; exact for S5 to S9, at least for S0 to S3.
  for (const auto& [type, right] : {std::pair{5U, 2U}, {6U, 3U}, {7U, 4U}, {8U, 3U}, {9U, 2U}}) {
    for (unsigned length = 0; length < 6; ++length) {
      const std::string text = line(type, Bytes(length, 0)) + (type < 7 ? kS9 : "");
      if (length == right) {
        EXPECT_THAT(parse_s(text), IsOk()) << type << " " << length;
      } else {
        EXPECT_THAT(parse_s(text), FailsWith(Reason::kRecordMalformed, "line 1")) << type << " " << length;
      }
    }
  }
  for (const auto& [type, least] : {std::pair{0U, 2U}, {1U, 2U}, {2U, 3U}, {3U, 4U}}) {
    const std::string end = type == 2 ? line(8, {0, 0, 0}) : type == 3 ? line(7, {0, 0, 0, 0}) : kS9;
    EXPECT_THAT(parse_s(line(type, Bytes(least - 1, 0)) + end),
                FailsWith(Reason::kRecordMalformed, "line 1"));
    EXPECT_THAT(parse_s(line(type, Bytes(least, 0)) + end), IsOk());
    EXPECT_THAT(parse_s(line(type, Bytes(least + 1, 0)) + end), IsOk());
  }
}

TEST(SRecord, WrongChecksum) {
  const Result<FormFile> form = parse_s("S104000101FA\n");
  ASSERT_THAT(form, FailsWith(Reason::kRecordChecksum, "line 1"));
  EXPECT_EQ(form.error().found, "checksum 0xfa");
  EXPECT_EQ(form.error().expected, "0xf9 for these digits");
}

TEST(SRecord, S4IsReserved) {
  EXPECT_THAT(parse_s(line(4, {0, 0}) + kS9), FailsWith(Reason::kRecordType, "line 1"));
}

// The type digit is not under the checksum, so what it may be at each place is.
TEST(SRecord, HeaderOnlyInTheFirstLine) {
  EXPECT_THAT(parse_s(line(1, {0, 0, 1}) + line(0, {0, 1, 2}) + kS9),
              FailsWith(Reason::kRecordType, "line 2"));
}

TEST(SRecord, OneTypeOfDataAndItsOwnEnd) {
  for (unsigned data = 1; data <= 3; ++data) {
    const std::string record = line(data, {0, 0, 0, 0, 0});
    for (unsigned end = 7; end <= 9; ++end) {
      const std::string text = record + line(end, Bytes(11 - end, 0));
      if (data + end == 10) {
        EXPECT_THAT(parse_s(text), IsOk()) << data << end;
      } else {
        EXPECT_THAT(parse_s(text), FailsWith(Reason::kRecordType, "line 2")) << data << end;
      }
    }
    for (unsigned other = 1; other <= 3; ++other) {
      if (other == data) continue;
      EXPECT_THAT(parse_s(record + line(other, {1, 1, 1, 1, 1})), FailsWith(Reason::kRecordType, "line 2"));
    }
  }
}

TEST(SRecord, ARecordMayReachTheEndOfItsSpaceAndNotCrossIt) {
  EXPECT_TRUE(s_holds(line(1, {0xff, 0xfe, 1, 2}) + kS9, {{0xfffe, {1, 2}}}));
  EXPECT_THAT(parse_s(line(1, {0xff, 0xff, 1, 2}) + kS9), FailsWith(Reason::kRecordAddress, "line 1"));
  EXPECT_TRUE(s_holds(line(2, {0xff, 0xff, 0xfe, 1, 2}) + line(8, {0, 0, 0}), {{0xfffffe, {1, 2}}}));
  EXPECT_THAT(parse_s(line(2, {0xff, 0xff, 0xff, 1, 2}) + line(8, {0, 0, 0})),
              FailsWith(Reason::kRecordAddress, "line 1"));
  EXPECT_TRUE(
      s_holds(line(3, {0xff, 0xff, 0xff, 0xfe, 1, 2}) + line(7, {0, 0, 0, 0}), {{0xfffffffe, {1, 2}}}));
  EXPECT_THAT(parse_s(line(3, {0xff, 0xff, 0xff, 0xff, 1, 2}) + line(7, {0, 0, 0, 0})),
              FailsWith(Reason::kRecordAddress, "line 1"));
}

TEST(SRecord, CountRecords) {
  const std::string two = line(1, {0, 0, 1}) + line(1, {0, 1, 1});
  EXPECT_THAT(parse_s(two + line(5, {0, 2}) + kS9), IsOk());
  EXPECT_THAT(parse_s(two + line(6, {0, 0, 2}) + kS9), IsOk());
  EXPECT_THAT(parse_s(two + line(5, {0, 1}) + kS9), FailsWith(Reason::kRecordCount, "line 3"));
  EXPECT_THAT(parse_s(two + line(6, {1, 0, 2}) + kS9), FailsWith(Reason::kRecordCount, "line 3"));
  // In the middle: those before it.
  EXPECT_THAT(parse_s(line(1, {0, 0, 1}) + line(5, {0, 1}) + line(1, {0, 1, 1}) + line(5, {0, 2}) + kS9),
              IsOk());
}

TEST(SRecord, OverlapsAreRefused) {
  EXPECT_THAT(parse_s(line(1, {0, 0, 1, 2}) + line(1, {0, 1, 2}) + kS9),
              FailsWith(Reason::kRecordOverlap, "line 2"));
}

TEST(SRecord, MissingEndRecord) {
  EXPECT_THAT(parse_s(line(1, {0, 0, 1})), FailsWith(Reason::kRecordEndMissing, "line 1"));
}

TEST(SRecord, NothingFollowsTheEndRecord) {
  for (const std::string after : {"x", kS9.c_str(), "\x1a", "\n\nS104000101F9"}) {
    EXPECT_THAT(parse_s(line(1, {0, 0, 1}) + kS9 + after), FailsWith(Reason::kRecordAfterEnd, "line "))
        << after;
  }
}

TEST(SRecord, OrderOfChecks) {
  EXPECT_THAT(parse_s("S404000101FA\n"),
              FailsWith(Reason::kRecordChecksum, "line 1"));  // checksum, then type
  EXPECT_THAT(parse_s(line(1, {0, 0}) + line(8, {0})),
              FailsWith(Reason::kRecordType, "line 2"));  // type, then length
  const std::string twice = line(1, {0, 0, 1}) + line(1, {0, 0, 1});
  EXPECT_THAT(parse_s(twice + line(5, {0, 1})), FailsWith(Reason::kRecordCount, "line 3"));
  EXPECT_THAT(parse_s(twice), FailsWith(Reason::kRecordOverlap, "line 2"));
}

TEST(SRecord, WritesTheNarrowestTypeThatReachesTheLastAddress) {
  const std::string s0 = "S0030000FC\n";
  EXPECT_EQ(write_s_record({}), s0 + kS9);
  EXPECT_EQ(write_s_record({{0xffff, {0xab}}}), s0 + line(1, {0xff, 0xff, 0xab}) + kS9);
  EXPECT_EQ(write_s_record({{0xffff, {1, 2}}}), s0 + line(2, {0, 0xff, 0xff, 1, 2}) + "S804000000FB\n");
  EXPECT_EQ(write_s_record({{0, {1}}, {0xffffff, {1}}}),
            s0 + line(2, {0, 0, 0, 1}) + line(2, {0xff, 0xff, 0xff, 1}) + "S804000000FB\n");
  EXPECT_EQ(write_s_record({{0x1000000, {1}}}), s0 + line(3, {1, 0, 0, 0, 1}) + "S70500000000FA\n");
  Bytes body(34, 1);
  body[0] = body[1] = 0;
  EXPECT_EQ(write_s_record({{0, Bytes(33, 1)}}), s0 + line(1, body) + line(1, {0, 32, 1}) + kS9);
}

}  // namespace
}  // namespace calseal
