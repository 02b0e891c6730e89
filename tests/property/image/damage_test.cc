// Every single-byte change and every truncation of small record files.
#include <gtest/gtest.h>

#include "calseal/image/form.h"
#include "support/matchers.h"
#include "unit/image/record_lines.h"

namespace calseal {
namespace {

struct Small {
  const char* name;
  FormKind kind;
  std::string text;
};

void PrintTo(const Small& row, std::ostream* out) { *out << row.name; }

// The S-record has a header and a count, so that even its type digits, which no checksum covers, are safe.
const Small kSmall[] = {
    {"IntelHex", FormKind::kIntelHex,
     ":020000040800F2\n:04FEDC00210080CFB2\n:0400000508000000EF\n:0100000012ED\n:00000001FF\n"},
    {"IntelHexCrLf", FormKind::kIntelHex, ":020000021200ea\r\n:04fedc00210080cfb2\r\n:00000001ff\r\n"},
    {"SRecord", FormKind::kSRecord,
     "S00600004844521B\nS107FEDC210080CFAE\nS10412345A5B\nS5030002FA\nS9030000FC\n"},
    {"SRecordCrLf", FormKind::kSRecord,
     "S0030000FC\r\nS315CAFE0110000102030405060708090A0B0C0D0E0F99\r\nS5030001FB\r\nS70500000000FA\r\n"},
};

class Damage : public ::testing::TestWithParam<Small> {};

TEST_P(Damage, EveryChangedByteIsRefusedOrChangesNoData) {
  const Result<FormFile> good = parse_form(bytes_of(GetParam().text), "f");
  ASSERT_THAT(good, IsOk());
  int accepted = 0;
  for (std::size_t at = 0; at < GetParam().text.size(); ++at) {
    for (int value = 0; value < 256; ++value) {
      Bytes file = bytes_of(GetParam().text);
      if (file[at] == value) continue;
      file[at] = static_cast<std::uint8_t>(value);
      ASSERT_EQ(recognise_form(file), GetParam().kind) << "offset " << at << " value " << value;
      const Result<FormFile> form = parse_form(file, "f");
      if (!form) {
        ASSERT_EQ(form.error().place.find("line "), 0U) << "offset " << at << " value " << value;
        ASSERT_FALSE(form.error().found.empty() || form.error().expected.empty() ||
                     form.error().next.empty());
        continue;
      }
      ++accepted;
      ASSERT_EQ(form->segments, good->segments) << "offset " << at << " value " << value;
      ASSERT_THAT(write_back(*form, form->segments), IsOkAnd(file));
    }
  }
  // Letter case and the kind of line end are free, so some changes must have been accepted.
  EXPECT_GT(accepted, 0);
}

TEST_P(Damage, EveryTruncationIsRefusedButThatOfTheLastLineEnd) {
  const std::string& text = GetParam().text;
  const std::size_t whole = text.find_last_not_of("\r\n") + 1;
  for (std::size_t size = 0; size <= text.size(); ++size) {
    const Result<FormFile> form = parse_form_as(GetParam().kind, bytes_of(text.substr(0, size)), "f");
    ASSERT_EQ(form.has_value(), size >= whole) << size;
    // Recognised too, once mark and type are there.
    if (size < 2) continue;
    ASSERT_EQ(recognise_form(view_of(text.substr(0, size))), GetParam().kind) << size;
  }
}

TEST_P(Damage, EveryAppendedByteButALineEndIsRefused) {
  for (int value = 0; value < 256; ++value) {
    Bytes file = bytes_of(GetParam().text);
    file.push_back(static_cast<std::uint8_t>(value));
    const Result<FormFile> form = parse_form(file, "f");
    if (value == '\n' || value == '\r') {
      EXPECT_THAT(form, IsOk());
    } else {
      EXPECT_THAT(form, FailsWith(Reason::kRecordAfterEnd, "line ")) << value;
    }
  }
}

INSTANTIATE_TEST_SUITE_P(Files, Damage, ::testing::ValuesIn(kSmall),
                         [](const auto& row) { return row.param.name; });

}  // namespace
}  // namespace calseal
