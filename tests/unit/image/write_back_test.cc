#include <gtest/gtest.h>

#include <algorithm>
#include <fstream>
#include <iterator>

#include "calseal/image/form.h"
#include "support/fixtures.h"
#include "support/matchers.h"
#include "unit/image/record_lines.h"

namespace calseal {
namespace {

// The text after the segments of `before` were replaced by `segments`.
std::string rewritten(const std::string& before, const std::vector<Segment>& segments) {
  const Result<FormFile> form = parse_form(bytes_of(before), "f");
  if (!form) return "not parsed";
  const Result<Bytes> after = write_back(*form, segments);
  return after ? std::string(text_of(*after)) : std::string(code(after.error().reason));
}

TEST(WriteBack, ChangesOnlyDigitsAndChecksums) {
  EXPECT_EQ(rewritten(":02000000ABCD86\r\n:00000001FF\r", {{0, {0xab, 0xce}}}),
            ":02000000ABCE85\r\n:00000001FF\r");
  EXPECT_EQ(rewritten("S1050000ABCD82\nS9030000FC", {{0, {0xab, 0xce}}}), "S1050000ABCE81\nS9030000FC");
}

TEST(WriteBack, ChangedDigitsTakeTheCaseOfTheirRecord) {
  const std::string file = ":01000000ab54\n:01000100AB53\n:0100020010ED\n:0100030011eb\n:00000001FF\n";
  EXPECT_EQ(rewritten(file, {{0, {0xcd, 0xcd, 0xcd, 0xcd}}}),
            ":01000000cd32\n:01000100CD31\n:01000200CD30\n:01000300cd2f\n:00000001FF\n");
}

TEST(WriteBack, ARecordWithoutLettersTakesTheCaseOfTheFile) {
  EXPECT_EQ(rewritten(":010000008976\n:00000001ff\n", {{0, {0xcf}}}), ":01000000cf30\n:00000001ff\n");
  EXPECT_EQ(rewritten(":010000008976\n:00000001FF\n", {{0, {0xcf}}}), ":01000000CF30\n:00000001FF\n");
}

TEST(WriteBack, DigitsThatStayKeepTheirCaseInMixedRecords) {
  EXPECT_EQ(rewritten(":02000000aBCd86\n:00000001fF\n", {{0, {0xab, 0xcf}}}),
            ":02000000aBCf84\n:00000001fF\n");
}

TEST(WriteBack, RecordsAcrossSegmentsInAnyOrder) {
  EXPECT_EQ(rewritten(":030000000102" + std::string("03F7\n:00000001FF\n"), {{2, {6, 9, 9}}, {0, {4, 5}}}),
            ":03000000040506EE\n:00000001FF\n");
}

TEST(WriteBack, MoreThanTheFileHoldsIsLeftOut) {
  EXPECT_EQ(rewritten(":0100020001FC\n:00000001FF\n", {{0, {9, 9, 1, 9, 9}}, {100, {1}}}),
            ":0100020001FC\n:00000001FF\n");
}

TEST(WriteBack, RawFiles) {
  const Bytes file{':', 0, 1, 2};
  const Result<FormFile> form = parse_form(file, "f");
  ASSERT_THAT(form, IsOk());
  EXPECT_THAT(write_back(*form, form->segments), IsOkAnd(file));
  EXPECT_THAT(write_back(*form, {{0, {9, 8, 7, 6}}}), IsOkAnd(Bytes{9, 8, 7, 6}));
  EXPECT_THAT(write_back(*form, {{0, {9, 8, 7}}}), FailsWith(Reason::kReadIncomplete, "0x00000003"));
  EXPECT_THAT(write_back(*form, {}), FailsWith(Reason::kReadIncomplete, "0x00000000"));
}

TEST(WriteBack, EveryAddressOfTheFileMustBeGiven) {
  const std::string text = hex_line(0, 0x10, {1, 2}) + "\n" + hex_line(0, 0x20, {3}) + "\n:00000001FF\n";
  const Result<FormFile> form = parse_form(bytes_of(text), "f");
  ASSERT_THAT(form, IsOk());
  EXPECT_THAT(write_back(*form, {{0x10, {1, 2}}}), FailsWith(Reason::kReadIncomplete, "0x00000020"));
  EXPECT_THAT(write_back(*form, {{0x10, {1}}, {0x20, {3}}}),
              FailsWith(Reason::kReadIncomplete, "0x00000011"));
  EXPECT_THAT(write_back(*form, {{0x11, {1}}, {0x20, {3}}}),
              FailsWith(Reason::kReadIncomplete, "0x00000010"));
}

// One image in three forms; fixtures/forms/README.md says how they were made.
Bytes fixture(const std::string& name) {
  std::ifstream in(fixtures() + "/forms/" + name, std::ios::binary);
  return Bytes(std::istreambuf_iterator<char>(in), {});
}

TEST(FormFixtures, HoldOneImageInThreeForms) {
  const Result<FormFile> hex = parse_form(fixture("two_segments.hex"), "two_segments.hex");
  const Result<FormFile> s = parse_form(fixture("two_segments.s19"), "two_segments.s19");
  const Result<FormFile> raw = parse_form(fixture("two_segments.bin"), "two_segments.bin");
  ASSERT_THAT(hex, IsOk());
  ASSERT_THAT(s, IsOk());
  ASSERT_THAT(raw, IsOk());
  EXPECT_EQ(hex->kind, FormKind::kIntelHex);
  EXPECT_EQ(s->kind, FormKind::kSRecord);
  EXPECT_EQ(raw->kind, FormKind::kRaw);
  ASSERT_EQ(hex->segments.size(), 2U);
  EXPECT_EQ(hex->segments[0].address, 0x80010000U);
  EXPECT_EQ(hex->segments, s->segments);
  Bytes flat = hex->segments[0].bytes;
  flat.resize(static_cast<std::size_t>(hex->segments[1].address - hex->segments[0].address), 0xff);
  flat.insert(flat.end(), hex->segments[1].bytes.begin(), hex->segments[1].bytes.end());
  EXPECT_EQ(flat, raw->original);
}

}  // namespace
}  // namespace calseal
