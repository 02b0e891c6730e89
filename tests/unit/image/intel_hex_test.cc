#include <gtest/gtest.h>

#include "calseal/image/form.h"
#include "support/matchers.h"
#include "unit/image/record_lines.h"

namespace calseal {
namespace {

const std::string kEnd = ":00000001FF\n";

Result<FormFile> parse(const std::string& text) {
  return parse_form_as(FormKind::kIntelHex, bytes_of(text), "test.hex");
}
std::string line(unsigned type, unsigned offset, const Bytes& data) {
  return hex_line(type, offset, data) + "\n";
}

testing::AssertionResult holds(const std::string& text, const std::vector<Segment>& segments) {
  const Result<FormFile> form = parse(text);
  if (!form) return testing::AssertionFailure() << testing::PrintToString(form.error());
  if (form->segments != segments)
    return testing::AssertionFailure() << testing::PrintToString(form->segments.size());
  return testing::AssertionSuccess();
}

TEST(IntelHex, RecordsThatTouchBecomeOneSegmentWhateverTheirOrder) {
  const std::string low = line(0, 0x10, {1, 2});
  const std::string high = line(0, 0x12, {3});
  const std::string far = line(0, 0x14, {4});
  const std::vector<Segment> expected{{0x10, {1, 2, 3}}, {0x14, {4}}};
  EXPECT_TRUE(holds(low + high + far + kEnd, expected));
  EXPECT_TRUE(holds(far + high + low + kEnd, expected));
}

TEST(IntelHex, SegmentsTouchAcross64KiB) {
  EXPECT_TRUE(holds(line(0, 0xffff, {1}) + line(4, 0, {0, 1}) + line(0, 0, {2}) + kEnd, {{0xffff, {1, 2}}}));
}

TEST(IntelHex, BasesAddToTheOffset) {
  EXPECT_TRUE(holds(line(2, 0, {0xff, 0xff}) + line(0, 0xffff, {1}) + kEnd, {{0x10ffef, {1}}}));
  EXPECT_TRUE(holds(line(4, 0, {0xff, 0xff}) + line(0, 0xffff, {1}) + kEnd, {{0xffffffff, {1}}}));
  EXPECT_TRUE(holds(line(4, 0, {0, 1}) + line(4, 0, {0, 0}) + line(0, 5, {1}) + kEnd, {{5, {1}}}));
}

TEST(IntelHex, LineEndsOfAllKindsAlsoMixed) {
  const std::string data = hex_line(0, 0, {1});
  const std::string end = hex_line(1, 0, {});
  for (const std::string eol : {"\n", "\r\n", "\r"}) EXPECT_TRUE(holds(data + eol + end + eol, {{0, {1}}}));
  EXPECT_TRUE(holds(data + "\r\n" + end + "\n\r\r\n\n", {{0, {1}}}));
  EXPECT_TRUE(holds(data + "\r" + end, {{0, {1}}}));
}

TEST(IntelHex, LowerAndMixedCase) {
  EXPECT_TRUE(holds(":01000000ab54\n:00000001ff\n", {{0, {0xab}}}));
  EXPECT_TRUE(holds(":01000000aB54\n:00000001fF\n", {{0, {0xab}}}));
}

TEST(IntelHex, RecordsWithoutDataHoldNothing) {
  const Result<FormFile> form = parse(line(0, 0x20, {}) + kEnd);
  ASSERT_THAT(form, IsOk());
  EXPECT_TRUE(form->segments.empty());
  EXPECT_TRUE(form->records.empty());
}

TEST(IntelHex, TheLongestRecord) {
  EXPECT_TRUE(holds(line(0, 0, Bytes(255, 7)) + kEnd, {{0, Bytes(255, 7)}}));
}

TEST(IntelHex, AStartAddressInTheEndRecordIsLeftAlone) {
  EXPECT_TRUE(holds(line(0, 0, {1}) + line(1, 0x100, {}), {{0, {1}}}));
}

TEST(IntelHex, MalformedRecords) {
  const std::string good = line(0, 0, {1});
  for (const std::string bad : {
           "",                     // an empty line
           " ",                    //
           "x",                    // no mark
           "S9030000FC",           // the mark of the other form
           ":",                    // no count
           ":0",                   //
           ":01",                  //
           ":01000000",            // cut before the data
           ":0100000001F",         // odd digits
           ":0100000001FE0",       //
           ":0100000001FE00",      // longer than its count
           ":0200000001FD",        // shorter than its count
           ":0100000001FE ",       // a blank at the end
           " :0100000001FE",       // or at the beginning
           ":01000000 1FE",        // or inside
           ":010000000GFE",        // not a digit
           ":0100000001FE;0",      // a comment
           "::0100000001FE",       // the mark twice
           ":0100000001F\xc3\xa9"  // not ASCII
       }) {
    EXPECT_THAT(parse(good + bad + "\n" + kEnd), FailsWith(Reason::kRecordMalformed, "line 2")) << bad;
  }
  const std::string nul(":01000000\0001FE", 13);
  EXPECT_THAT(parse(good + nul + "\n" + kEnd), FailsWith(Reason::kRecordMalformed, "line 2"));
  EXPECT_THAT(parse("\n" + good + kEnd), FailsWith(Reason::kRecordMalformed, "line 1"));
}

TEST(IntelHex, WhatIsFoundNamesColumnAndCharacterSafely) {
  const Result<FormFile> form = parse(":01\x1b");
  ASSERT_THAT(form, FailsWith(Reason::kRecordMalformed, "line 1"));
  EXPECT_EQ(form.error().found, "\"\\u001b\" in column 4");
}

TEST(IntelHex, LinesAreCountedInEveryLineEnd) {
  for (const std::string eol : {"\n", "\r\n", "\r"}) {
    const Result<FormFile> form = parse(hex_line(0, 0, {1}) + eol + hex_line(0, 1, {1}) + eol + "x" + eol);
    ASSERT_THAT(form, FailsWith(Reason::kRecordMalformed));
    EXPECT_EQ(form.error().place, "line 3");
  }
}

TEST(IntelHex, TypesHaveExactLengths) {
  for (const auto& [type, right] : {std::pair{1U, 0U}, {2U, 2U}, {3U, 4U}, {4U, 2U}, {5U, 4U}}) {
    for (unsigned length = 0; length < 6; ++length) {
      const std::string text = line(type, 0, Bytes(length, 0)) + (type == 1 ? "" : kEnd);
      if (length == right) {
        EXPECT_THAT(parse(text), IsOk()) << type << " " << length;
      } else {
        EXPECT_THAT(parse(text), FailsWith(Reason::kRecordMalformed, "line 1")) << type << " " << length;
      }
    }
  }
}

TEST(IntelHex, TypesWithoutAnAddressHaveOffsetZero) {
  for (const auto& [type, length] : {std::pair{2U, 2U}, {3U, 4U}, {4U, 2U}, {5U, 4U}}) {
    EXPECT_THAT(parse(line(type, 1, Bytes(length, 0)) + kEnd), FailsWith(Reason::kRecordMalformed, "line 1"));
  }
}

TEST(IntelHex, WrongChecksum) {
  EXPECT_THAT(parse(line(0, 0, {1}) + ":0100000001FF\n" + kEnd),
              FailsWith(Reason::kRecordChecksum, "line 2"));
  const Result<FormFile> form = parse(":0100000001FF\n");
  ASSERT_THAT(form, FailsWith(Reason::kRecordChecksum, "line 1"));
  EXPECT_EQ(form.error().found, "checksum 0xff");
  EXPECT_EQ(form.error().expected, "0xfe for these digits");
}

TEST(IntelHex, UnknownTypes) {
  for (unsigned type = 6; type < 256; ++type) {
    EXPECT_THAT(parse(line(type, 0, {1}) + kEnd), FailsWith(Reason::kRecordType, "line 1")) << type;
  }
}

// Readers disagree on whether a segment base and a linear base add up.
TEST(IntelHex, BasesOfBothKindsOnlyWhereAllReadersAgree) {
  const std::string data = line(0, 0, {1});
  EXPECT_THAT(parse(line(2, 0, {0x10, 0}) + line(4, 0, {0, 1}) + data + kEnd),
              FailsWith(Reason::kRecordType, "line 2"));
  EXPECT_THAT(parse(line(4, 0, {0, 1}) + line(2, 0, {0, 0}) + data + kEnd),
              FailsWith(Reason::kRecordType, "line 2"));
  EXPECT_TRUE(
      holds(line(2, 0, {0x10, 0}) + line(2, 0, {0, 0}) + line(4, 0, {0, 1}) + data + kEnd, {{0x10000, {1}}}));
  EXPECT_TRUE(holds(line(2, 0, {0, 0}) + line(4, 0, {0, 1}) + data + kEnd, {{0x10000, {1}}}));
}

TEST(IntelHex, ARecordMayReachTheEndOf64KiBAndNotCrossIt) {
  const std::string last = line(0, 0xfffe, {1, 2});
  const std::string crossing = line(0, 0xffff, {1, 2});
  for (const std::string& base :
       {std::string(), line(2, 0, {0x10, 0}), line(4, 0, {0, 1}), line(4, 0, {0xff, 0xff})}) {
    EXPECT_THAT(parse(base + last + kEnd), IsOk());
    EXPECT_THAT(parse(base + crossing + kEnd),
                FailsWith(Reason::kRecordAddress, base.empty() ? "line 1" : "line 2"));
  }
}

TEST(IntelHex, OverlapsAreRefusedWithBothLines) {
  const Result<FormFile> form = parse(line(0, 4, {1, 2}) + line(0, 0, {9}) + line(0, 2, {1, 2, 1}) + kEnd);
  ASSERT_THAT(form, FailsWith(Reason::kRecordOverlap, "line 3"));
  EXPECT_EQ(form.error().found, "0x00000004 again, after line 1");
  // The same value twice, the same record twice, and one record inside another.
  EXPECT_THAT(parse(line(0, 0, {1}) + line(0, 0, {1}) + kEnd), FailsWith(Reason::kRecordOverlap, "line 2"));
  EXPECT_THAT(parse(line(0, 1, {1}) + line(0, 0, {1, 1, 1}) + kEnd),
              FailsWith(Reason::kRecordOverlap, "line 2"));
  EXPECT_THAT(parse(line(0, 0, {1, 1, 1}) + line(0, 1, {1}) + kEnd),
              FailsWith(Reason::kRecordOverlap, "line 2"));
  // The same address by way of two bases.
  EXPECT_THAT(parse(line(2, 0, {0, 1}) + line(0, 0, {1}) + line(2, 0, {0, 0}) + line(0, 16, {1}) + kEnd),
              FailsWith(Reason::kRecordOverlap, "line 4"));
}

TEST(IntelHex, ManyRecordsInDescendingOrderAreSorted) {
  std::string text;
  for (unsigned i = 0x8000; i-- > 0;) text += line(0, 2 * i, {static_cast<std::uint8_t>(i), 0});
  const Result<FormFile> form = parse(text + kEnd);
  ASSERT_THAT(form, IsOk());
  ASSERT_EQ(form->segments.size(), 1U);
  EXPECT_EQ(form->segments[0].bytes.size(), 0x10000U);
  EXPECT_EQ(form->segments[0].bytes[2 * 0x1234], 0x34);
}

TEST(IntelHex, MissingEndRecord) {
  EXPECT_THAT(parse(line(0, 0, {1})), FailsWith(Reason::kRecordEndMissing, "line 1"));
  EXPECT_THAT(parse(line(0, 0, {1}) + line(0, 1, {1})), FailsWith(Reason::kRecordEndMissing, "line 2"));
}

TEST(IntelHex, NothingFollowsTheEndRecord) {
  for (const std::string after : {"x", " ", ":00000001FF", "\x1a", "\n\n:0100000001FE"}) {
    EXPECT_THAT(parse(line(0, 0, {1}) + kEnd + after), FailsWith(Reason::kRecordAfterEnd, "line ")) << after;
  }
  const std::string nul(1, '\0');
  EXPECT_THAT(parse(kEnd + nul), FailsWith(Reason::kRecordAfterEnd, "line 2"));
}

// The first fault decides: same file, same reason.
TEST(IntelHex, OrderOfChecks) {
  const std::string twice = line(0, 0, {1}) + line(0, 0, {1});
  EXPECT_THAT(parse(twice + "x\n"), FailsWith(Reason::kRecordMalformed, "line 3"));
  EXPECT_THAT(parse(twice + kEnd + "x"), FailsWith(Reason::kRecordAfterEnd, "line 4"));
  EXPECT_THAT(parse(twice), FailsWith(Reason::kRecordOverlap, "line 2"));
  EXPECT_THAT(parse(":0100000901\n"),
              FailsWith(Reason::kRecordMalformed, "line 1"));  // length, then checksum
  EXPECT_THAT(parse(":010000090100\n"), FailsWith(Reason::kRecordChecksum, "line 1"));  // checksum, then type
  EXPECT_THAT(parse(line(9, 0xffff, {1, 2})),
              FailsWith(Reason::kRecordType, "line 1"));  // type, then address
}

TEST(IntelHex, WritesThirtyTwoBytesARecordAndBreaksAt64KiB) {
  Bytes bytes(40);
  for (std::size_t i = 0; i < bytes.size(); ++i) bytes[i] = static_cast<std::uint8_t>(0xa0 + i);
  const Bytes first(bytes.begin(), bytes.begin() + 16);
  const Bytes second(bytes.begin() + 16, bytes.end());
  EXPECT_EQ(write_intel_hex({{0x1234, {0xab}}, {0x8000fff0, bytes}}),
            line(0, 0x1234, {0xab}) + line(4, 0, {0x80, 0}) + line(0, 0xfff0, first) + line(4, 0, {0x80, 1}) +
                line(0, 0, second) + kEnd);
  EXPECT_EQ(write_intel_hex({{0, Bytes(33, 1)}}), line(0, 0, Bytes(32, 1)) + line(0, 32, {1}) + kEnd);
  EXPECT_EQ(write_intel_hex({}), kEnd);
}

}  // namespace
}  // namespace calseal
