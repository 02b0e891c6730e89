// Random images through both record forms, and random record files, written plainly by the test, through
// parser and write_back.
#include <gtest/gtest.h>

#include <algorithm>
#include <map>

#include "calseal/image/form.h"
#include "support/matchers.h"
#include "support/random.h"
#include "unit/image/record_lines.h"

namespace calseal {
namespace {

constexpr int kRounds = 200;

// Ascending, disjoint, non-adjacent segments, often around the lines where addresses carry.
std::vector<Segment> random_segments(Random& random) {
  static constexpr std::uint64_t kStarts[] = {0, 0xfff0, 0xfffff0, 0x80000000, 0xffff0000};
  std::vector<Segment> segments;
  std::uint64_t at = kStarts[random.between(0, std::size(kStarts) - 1)] + random.between(0, 40);
  const std::uint64_t count = random.between(0, 12);
  for (std::uint64_t i = 0; i < count; ++i) {
    const std::uint64_t size = random.between(1, random.coin() ? 4 : 600);
    if (at + size > kAddressLimit) break;
    segments.push_back({at, random.bytes(static_cast<std::size_t>(size))});
    at += size + random.between(1, random.coin() ? 2 : 0x12000);
  }
  return segments;
}

TEST(RoundTrip, WrittenSegmentsParseToThemselves) {
  Random random;
  for (int round = 0; round < kRounds; ++round) {
    const std::vector<Segment> segments = random_segments(random);
    for (const std::string& text : {write_intel_hex(segments), write_s_record(segments)}) {
      const Result<FormFile> form = parse_form(bytes_of(text), "f");
      ASSERT_THAT(form, IsOk());
      EXPECT_EQ(form->segments, segments);
      EXPECT_THAT(write_back(*form, form->segments), IsOkAnd(bytes_of(text)));
    }
  }
}

TEST(RoundTrip, TheLastByteOfTheAddressSpace) {
  const std::vector<Segment> segments{{kAddressLimit - 300, Bytes(300, 0x5a)}};
  for (const std::string& text : {write_intel_hex(segments), write_s_record(segments)}) {
    const Result<FormFile> form = parse_form(bytes_of(text), "f");
    ASSERT_THAT(form, IsOk());
    EXPECT_EQ(form->segments, segments);
  }
}

// A record file as some other tool could have written it: records of random length in random order, letter
// case and line ends that change from record to record. `memory` is what it holds, byte by byte.
struct Foreign {
  std::string text;
  std::map<std::uint64_t, std::uint8_t> memory;
};

std::string random_line_end(Random& random) {
  static const std::string kEnds[] = {"\n", "\r\n", "\r"};
  return kEnds[random.between(0, 2)];
}

Foreign random_foreign(Random& random, FormKind kind) {
  Foreign file;
  const auto type =
      static_cast<unsigned>(kind == FormKind::kSRecord ? random.between(1, 3) : random.between(0, 1));
  const auto add = [&](const std::string& line) { file.text += line + random_line_end(random); };
  if (kind == FormKind::kSRecord && random.coin()) add(s_line(0, {0, 0, 'h', 'i'}));
  unsigned records = 0;
  for (std::uint64_t i = random.between(1, 30); i > 0; --i) {
    const Bytes data = random.bytes(static_cast<std::size_t>(random.between(0, random.coin() ? 3 : 250)));
    const auto offset = static_cast<unsigned>(random.between(0, 0x10000 - data.size()) & 0xffff);
    const auto base = static_cast<unsigned>(random.between(0, 0xff));
    const bool lower_case = random.coin();
    const Bytes low{static_cast<std::uint8_t>(offset >> 8), static_cast<std::uint8_t>(offset)};
    const auto high = static_cast<std::uint8_t>(base);

    std::uint64_t address = 0;
    std::string lines;
    if (kind == FormKind::kSRecord) {
      Bytes body = type == 1 ? Bytes{} : type == 2 ? Bytes{high} : Bytes{high, high};
      address = type == 1 ? offset : type == 2 ? base * 0x10000ULL + offset : base * 0x1010000ULL + offset;
      body.insert(body.end(), low.begin(), low.end());
      body.insert(body.end(), data.begin(), data.end());
      lines = s_line(type, body, lower_case) + random_line_end(random);
    } else {
      // One kind of extended address a file: 02 (times 16) or 04 (times 65536).
      address = (type == 0 ? base * 0x1010ULL : base * 0x1010000ULL) + offset;
      lines = hex_line(type == 0 ? 2 : 4, 0, {high, high}, lower_case) + random_line_end(random) +
              hex_line(0, offset, data, lower_case) + random_line_end(random);
    }
    const auto next = file.memory.lower_bound(address);
    if (next != file.memory.end() && next->first < address + data.size()) continue;
    for (std::size_t k = 0; k < data.size(); ++k) file.memory[address + k] = data[k];
    file.text += lines;
    ++records;
  }
  if (kind == FormKind::kIntelHex) {
    file.text += hex_line(1, 0, {});
  } else {
    if (random.coin()) add(s_line(5, {0, static_cast<std::uint8_t>(records)}));
    file.text += s_line(10 - type, Bytes(type + 1, 0));
  }
  if (random.coin()) file.text += random_line_end(random) + random_line_end(random);
  return file;
}

std::vector<Segment> segments_of(const std::map<std::uint64_t, std::uint8_t>& memory) {
  std::vector<Segment> segments;
  for (const auto& [address, byte] : memory) {
    if (segments.empty() || segments.back().address + segments.back().bytes.size() != address) {
      segments.push_back({address, {}});
    }
    segments.back().bytes.push_back(byte);
  }
  return segments;
}

class ForeignFiles : public ::testing::TestWithParam<FormKind> {};

TEST_P(ForeignFiles, ParseToWhatTheyHoldAndComeBackByteForByte) {
  Random random;
  for (int round = 0; round < kRounds; ++round) {
    const Foreign file = random_foreign(random, GetParam());
    EXPECT_EQ(recognise_form(view_of(file.text)), GetParam());
    const Result<FormFile> form = parse_form(bytes_of(file.text), "f");
    ASSERT_THAT(form, IsOk()) << file.text;
    EXPECT_EQ(form->segments, segments_of(file.memory));
    EXPECT_THAT(write_back(*form, form->segments), IsOkAnd(bytes_of(file.text)));
  }
}

TEST_P(ForeignFiles, ChangedBytesComeBackInTheSameLayout) {
  Random random;
  for (int round = 0; round < kRounds; ++round) {
    Foreign file = random_foreign(random, GetParam());
    const Result<FormFile> before = parse_form(bytes_of(file.text), "f");
    ASSERT_THAT(before, IsOk());
    for (auto& [address, byte] : file.memory) {
      if (random.between(0, 3) == 0) byte = static_cast<std::uint8_t>(random.between(0, 255));
    }
    const std::vector<Segment> wanted = segments_of(file.memory);
    const Result<Bytes> text = write_back(*before, wanted);
    ASSERT_THAT(text, IsOk());
    const Result<FormFile> after = parse_form(*text, "f");
    ASSERT_THAT(after, IsOk());
    EXPECT_EQ(after->segments, wanted);

    // Outside data and checksum digits nothing differs.
    ASSERT_EQ(text->size(), file.text.size());
    std::vector<bool> may_differ(text->size());
    const Bytes original = bytes_of(file.text);
    for (const RecordPlace& record : before->records) {
      for (std::size_t at = record.data_at; at < record.checksum_at + 2U; ++at) may_differ[at] = true;
    }
    for (std::size_t at = 0; at < text->size(); ++at) {
      ASSERT_TRUE(may_differ[at] || (*text)[at] == original[at]) << at;
    }
    // Written back to the first content, it is the first file again.
    const Result<Bytes> undone = write_back(*after, before->segments);
    ASSERT_THAT(undone, IsOk());
    const Result<FormFile> first = parse_form(*undone, "f");
    ASSERT_THAT(first, IsOk());
    EXPECT_EQ(first->segments, before->segments);
  }
}

INSTANTIATE_TEST_SUITE_P(Kinds, ForeignFiles, ::testing::Values(FormKind::kIntelHex, FormKind::kSRecord),
                         [](const auto& row) {
                           return row.param == FormKind::kIntelHex ? "IntelHex" : "SRecord";
                         });

}  // namespace
}  // namespace calseal
