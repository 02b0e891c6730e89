#include <gtest/gtest.h>

#include "calseal/image/form.h"
#include "support/matchers.h"
#include "support/random.h"
#include "unit/image/record_lines.h"

namespace calseal {
namespace {

const std::string kHex = ":0B0010006164647265737320676170A7\n:00000001FF\n";
const std::string kS = "S10D1000736F6D6520646174610074\nS9030000FC\n";

FormKind recognised(std::string_view text) { return recognise_form(view_of(text)); }

TEST(Recognise, NamesOfForms) {
  EXPECT_EQ(form_name(FormKind::kRaw), "raw");
  EXPECT_EQ(form_name(FormKind::kIntelHex), "intel-hex");
  EXPECT_EQ(form_name(FormKind::kSRecord), "s-record");
}

TEST(Recognise, RecordFiles) {
  EXPECT_EQ(recognised(kHex), FormKind::kIntelHex);
  EXPECT_EQ(recognised(kS), FormKind::kSRecord);
  EXPECT_EQ(recognised("s9030000fc"), FormKind::kSRecord);
}

// White space or a byte order mark before the first record is not what a raw image looks like: refuse, do not
// misread.
TEST(Recognise, TextBeforeTheFirstRecordDoesNotMakeItRaw) {
  for (const std::string before : {"\n", " ", "\t\r\n", "\xef\xbb\xbf", "\xef\xbb\xbf\r\n"}) {
    EXPECT_EQ(recognised(before + kHex), FormKind::kIntelHex);
    EXPECT_EQ(recognised(before + kS), FormKind::kSRecord);
    EXPECT_THAT(parse_form(bytes_of(before + kHex), "f"), FailsWith(Reason::kRecordMalformed, "line 1"));
  }
}

TEST(Recognise, RawFilesThatBeginWithAMarkAreRaw) {
  Random random;
  for (const std::string mark : {":", "S1", "S0", ":10", "\n:", " S3"}) {
    const std::string body(4096, '\0');
    EXPECT_EQ(recognised(mark + body), FormKind::kRaw);
    EXPECT_EQ(recognised(mark + std::string(4096, '\xff')), FormKind::kRaw);
    const Bytes noise = random.bytes(4096);
    EXPECT_EQ(recognised(mark + std::string(text_of(noise))), FormKind::kRaw);
  }
  EXPECT_EQ(recognised("SERIAL NUMBER"), FormKind::kRaw);
  EXPECT_EQ(recognised("SA00"), FormKind::kRaw);
  EXPECT_EQ(recognised(""), FormKind::kRaw);
  EXPECT_EQ(recognised("S"), FormKind::kRaw);
}

// Rule (b) needs more than half: exactly half is raw.
TEST(Recognise, HalfOfTheBytesIsNotMoreThanHalf) {
  EXPECT_EQ(recognised(":0....."), FormKind::kRaw);
  EXPECT_EQ(recognised(":00..."), FormKind::kRaw);
  EXPECT_EQ(recognised(":000..."), FormKind::kIntelHex);
  EXPECT_EQ(recognised("S00..."), FormKind::kRaw);
  EXPECT_EQ(recognised("S000..."), FormKind::kSRecord);
}

TEST(Recognise, DigitsWithoutAMarkAreRaw) {
  EXPECT_EQ(recognised("00000001FF\n00000001FF\n"), FormKind::kRaw);
}

TEST(Recognise, GarbageAfterTheFirstRecordIsRefusedAndNotRaw) {
  for (const std::string& good : {kHex.substr(0, 34), kS.substr(0, 31)}) {
    const std::string text = good + std::string(100'000, '\0');
    EXPECT_NE(recognised(text), FormKind::kRaw);
    EXPECT_THAT(parse_form(bytes_of(text), "f"), FailsWith(Reason::kRecordMalformed, "line 2"));
  }
}

TEST(Recognise, ADamagedFirstRecordIsRefusedAndNotRaw) {
  std::string text = kHex;
  text[0] = '\0';
  EXPECT_THAT(parse_form(bytes_of(text), "f"), FailsWith(Reason::kRecordMalformed, "line 1"));
  text = kS;
  text[0] = '\xff';
  EXPECT_THAT(parse_form(bytes_of(text), "f"), FailsWith(Reason::kRecordMalformed, "line 1"));
}

TEST(Recognise, RawFileIsOneSegmentFromZero) {
  const Bytes file{':', 0, 1, 2, 3};
  const Result<FormFile> form = parse_form(file, "f");
  ASSERT_THAT(form, IsOk());
  EXPECT_EQ(form->kind, FormKind::kRaw);
  EXPECT_EQ(form->segments, (std::vector<Segment>{{0, file}}));
  EXPECT_TRUE(form->records.empty());
}

TEST(Recognise, ADeclaredFormIsBelieved) {
  EXPECT_THAT(parse_form_as(FormKind::kIntelHex, bytes_of(kS), "f"),
              FailsWith(Reason::kRecordMalformed, "line 1"));
  EXPECT_THAT(parse_form_as(FormKind::kSRecord, bytes_of(kHex), "f"),
              FailsWith(Reason::kRecordMalformed, "line 1"));
  const Result<FormFile> form = parse_form_as(FormKind::kRaw, bytes_of(kHex), "f");
  ASSERT_THAT(form, IsOk());
  EXPECT_EQ(form->kind, FormKind::kRaw);
}

TEST(Recognise, EmptyFilesAreRefusedInEveryForm) {
  for (const FormKind kind : {FormKind::kRaw, FormKind::kIntelHex, FormKind::kSRecord}) {
    EXPECT_THAT(parse_form_as(kind, {}, "f"), FailsWith(Reason::kFileEmpty));
  }
  EXPECT_THAT(parse_form({}, "f"), FailsWith(Reason::kFileEmpty));
}

TEST(Recognise, MoreTextThanTheLimitIsRefused) {
  EXPECT_THAT(parse_form_as(FormKind::kSRecord, Bytes(kRecordTextLimit + 1, '\n'), "f"),
              FailsWith(Reason::kFileTooLarge));
}

TEST(Recognise, ErrorsNameTheFile) {
  const Result<FormFile> form = parse_form(bytes_of(":00000001FE"), "read.hex");
  ASSERT_THAT(form, FailsWith(Reason::kRecordChecksum, "line 1"));
  EXPECT_EQ(form.error().file, "read.hex");
}

}  // namespace
}  // namespace calseal
