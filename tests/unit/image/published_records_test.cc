// Record examples that others published, each with its source: what they hold, and that damaged ones are
// refused.
#include <gtest/gtest.h>

#include "calseal/image/form.h"
#include "support/matchers.h"
#include "unit/image/record_lines.h"

namespace calseal {
namespace {

struct Published {
  const char* name;
  const char* source;
  FormKind kind;
  std::string text;  // the example, completed to a file
  std::vector<Segment> segments;
};

void PrintTo(const Published& row, std::ostream* out) { *out << row.name << " (" << row.source << ")"; }

const Published kPublished[] = {
    {"IntelDataAddressGap",
     "commonly published example, no source",
     FormKind::kIntelHex,
     ":0B0010006164647265737320676170A7\n:00000001FF\n",
     {{0x10, bytes_of("address gap")}}},
    {"IntelDataSixteenBytes",
     "manual of an assembler, public",
     FormKind::kIntelHex,
     ":10E0000002E003E4F588758910F58DF58BD28E302A\n:00000001FF\n",
     {{0xe000,
       {0x02, 0xe0, 0x03, 0xe4, 0xf5, 0x88, 0x75, 0x89, 0x10, 0xf5, 0x8d, 0xf5, 0x8b, 0xd2, 0x8e, 0x30}}}},
    {"IntelDataFourBytes",
     "magazine article on the format, public",
     FormKind::kIntelHex,
     ":04FEDC00210080CFB2\n:00000001FF\n",
     {{0xfedc, {0x21, 0x00, 0x80, 0xcf}}}},
    {"IntelExtendedLinear",
     "derived from the rule",
     FormKind::kIntelHex,
     ":020000040800F2\n:04FEDC00210080CFB2\n:00000001FF\n",
     {{0x0800fedc, {0x21, 0x00, 0x80, 0xcf}}}},
    {"IntelExtendedSegment",
     "commonly published example, no source",
     FormKind::kIntelHex,
     ":020000021200EA\n:04FEDC00210080CFB2\n:00000001FF\n",
     {{0x21edc, {0x21, 0x00, 0x80, 0xcf}}}},
    {"IntelStartSegment",
     "commonly published example, no source",
     FormKind::kIntelHex,
     ":0400000300003800C1\n:00000001FF\n",
     {}},
    {"IntelStartLinear",
     "commonly published example, no source",
     FormKind::kIntelHex,
     ":04000005000000CD2A\n:00000001FF\n",
     {}},
    {"IntelEnd",
     "Intel, Hexadecimal Object File Format Specification, revision A, 1988",
     FormKind::kIntelHex,
     ":00000001FF\n",
     {}},
    {"SHeader",
     "public description of the format",
     FormKind::kSRecord,
     "S00C000054455354312E4845586F\nS9030000FC\n",
     {}},
    {"S1FourBytes",
     "public description of the format",
     FormKind::kSRecord,
     "S107FEDC210080CFAE\nS9030000FC\n",
     {{0xfedc, {0x21, 0x00, 0x80, 0xcf}}}},
    {"S1SomeData",
     "public description of the format",
     FormKind::kSRecord,
     "S10D1000736F6D6520646174610074\nS9030000FC\n",
     {{0x1000, bytes_of(std::string_view("some data\0", 10))}}},
    {"S2HigherAddress",
     "public description of the format",
     FormKind::kSRecord,
     "S21D0100006461746120617420612068696768657220616464726573730034\nS804000000FB\n",
     {{0x10000, bytes_of(std::string_view("data at a higher address\0", 25))}}},
    {"S3SixteenBytes",
     "public description of the format",
     FormKind::kSRecord,
     "S315CAFE0110000102030405060708090A0B0C0D0E0F99\nS70500000000FA\n",
     {{0xcafe0110, {0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15}}}},
    {"S1SixteenBytes",
     "commonly published example, no source",
     FormKind::kSRecord,
     "S1137AF00A0A0D0000000000000000000000000061\nS9030000FC\n",
     {{0x7af0, {10, 10, 13, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0}}}},
    {"S5Count",
     "derived from the rule",
     FormKind::kSRecord,
     "S10410000AE1\nS10410010BDF\nS10410020CDD\nS5030003F9\nS9030000FC\n",
     {{0x1000, {10, 11, 12}}}},
};

class PublishedRecords : public ::testing::TestWithParam<Published> {};

TEST_P(PublishedRecords, HoldWhatTheirSourceSays) {
  const Published& row = GetParam();
  const Result<FormFile> form = parse_form(bytes_of(row.text), "published");
  ASSERT_THAT(form, IsOk());
  EXPECT_EQ(form->kind, row.kind);
  EXPECT_EQ(form->segments, row.segments);
  EXPECT_THAT(write_back(*form, form->segments), IsOkAnd(bytes_of(row.text)));
}

INSTANTIATE_TEST_SUITE_P(Table, PublishedRecords, ::testing::ValuesIn(kPublished),
                         [](const auto& row) { return row.param.name; });

struct Refused {
  const char* name;
  const char* source;
  std::string text;
};

void PrintTo(const Refused& row, std::ostream* out) { *out << row.name << " (" << row.source << ")"; }

const Refused kRefused[] = {
    {"IntelAddressGap", "the example above with its checksum raised by one",
     ":0B0010006164647265737320676170A8\n:00000001FF\n"},
    {"IntelErased", "sixteen erased bytes with a wrong checksum",
     ":10000000FFFFFFFFFFFFFFFFFFFFFFFFFFFFFFFF01\n:00000001FF\n"},
    {"S9", "the end record with its checksum raised by one", "S9030000FD\n"},
    {"S1SomeData", "the example above with its checksum raised by one",
     "S10D1000736F6D6520646174610075\nS9030000FC\n"},
};

class RefusedRecords : public ::testing::TestWithParam<Refused> {};

TEST_P(RefusedRecords, FailTheirChecksum) {
  EXPECT_THAT(parse_form(bytes_of(GetParam().text), "published"),
              FailsWith(Reason::kRecordChecksum, "line 1"));
}

INSTANTIATE_TEST_SUITE_P(Table, RefusedRecords, ::testing::ValuesIn(kRefused),
                         [](const auto& row) { return row.param.name; });

}  // namespace
}  // namespace calseal
