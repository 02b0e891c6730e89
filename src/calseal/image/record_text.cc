#include "calseal/image/record_text.h"

#include <algorithm>
#include <numeric>

#include "calseal/base/text.h"

namespace calseal::record_text {
namespace {

constexpr char kUpperDigits[] = "0123456789ABCDEF";

constexpr char kExportAgain[] = "The file is damaged: export it again, or read the controller again.";

// Line numbers are not kept for each record, so the rare error counts them.
std::size_t line_of(ByteView text, std::size_t offset) {
  Lines lines(text);
  std::size_t number = 0;
  while (const std::optional<Line> line = lines.next()) {
    if (line->begin > offset) break;
    number = line->number;
  }
  return number;
}

std::uint64_t end_of(const RecordPlace& record) { return std::uint64_t{record.address} + record.count; }

// Positions of `records` by ascending address.
std::vector<std::uint32_t> by_address(const std::vector<RecordPlace>& records) {
  std::vector<std::uint32_t> order(records.size());
  std::iota(order.begin(), order.end(), std::uint32_t{0});
  const auto before = [&](std::uint32_t a, std::uint32_t b) {
    return std::pair(records[a].address, a) < std::pair(records[b].address, b);
  };
  if (!std::is_sorted(order.begin(), order.end(), before)) std::sort(order.begin(), order.end(), before);
  return order;
}

Status refuse_overlap(ByteView text, const std::vector<RecordPlace>& records,
                      const std::vector<std::uint32_t>& order) {
  for (std::size_t i = 1; i < order.size(); ++i) {
    const RecordPlace& low = records[order[i - 1]];
    const RecordPlace& high = records[order[i]];
    if (end_of(low) <= high.address) continue;
    const auto [first, second] = std::minmax(order[i - 1], order[i]);
    const Range twice{high.address, std::min(end_of(low), end_of(high))};
    return fail(error_at(
        line_of(text, records[second].data_at), Reason::kRecordOverlap,
        range_text(twice) + " again, after line " + std::to_string(line_of(text, records[first].data_at)),
        "each address once", "Export the file again without overlapping records."));
  }
  return {};
}

// Checks digits against the length that the count states: `extra` bytes besides the counted ones.
Result<Record> decode_digits(const Line& line, std::size_t mark_size, std::size_t extra) {
  const std::string_view digits = line.text.substr(mark_size);
  Record record;
  std::size_t expected = 2;
  for (std::size_t at = 0; at < std::min(digits.size(), expected); ++at) {
    const int value = digit_value(digits[at]);
    if (value < 0) {
      return fail(error_at(
          line.number, Reason::kRecordMalformed,
          "\"" + printable(digits.substr(at, 1)) + "\" in column " + std::to_string(mark_size + at + 1),
          "a hexadecimal digit", kExportAgain));
    }
    std::uint8_t& byte = record.bytes[at / 2];
    byte = static_cast<std::uint8_t>(byte * 16 + value);
    if (at == 1) expected = 2 * (byte + extra);
  }
  if (digits.size() != expected) {
    return fail(error_at(line.number, Reason::kRecordMalformed,
                         grouped(digits.size()) + " characters after the mark",
                         digits.size() < 2 ? std::string("a count of two digits and what it counts")
                                           : std::to_string(expected) + ", as the record's count says",
                         kExportAgain));
  }
  record.size = expected / 2;
  return record;
}

// All bytes together, the checksum among them, must give `right` modulo 256.
Status check_sum(const Line& line, const Record& record, std::uint8_t right) {
  const auto end = record.bytes.begin() + static_cast<std::ptrdiff_t>(record.size);
  const auto sum = static_cast<std::uint8_t>(std::accumulate(record.bytes.begin(), end, 0U));
  if (sum == right) return {};
  const std::uint8_t stored = record.bytes[record.size - 1];
  return fail(error_at(line.number, Reason::kRecordChecksum, "checksum " + hex_number(stored, 2),
                       hex_number(static_cast<std::uint8_t>(stored - sum + right), 2) + " for these digits",
                       kExportAgain));
}

Error not_a_mark(const Line& line, std::string expected) {
  return error_at(line.number, Reason::kRecordMalformed,
                  "a line that begins with \"" + printable(line.text.substr(0, 16), 24) + "\"",
                  std::move(expected), kExportAgain);
}

}  // namespace

char upper_digit(unsigned value) { return kUpperDigits[value & 15U]; }

void append_hex(std::string& text, std::uint64_t value, int digits) {
  for (int shift = 4 * (digits - 1); shift >= 0; shift -= 4)
    text.push_back(kUpperDigits[(value >> shift) & 15U]);
}

std::optional<Line> Lines::next() {
  if (at_ == text_.size()) return std::nullopt;
  const std::size_t end = std::min(text_.find_first_of("\r\n", at_), text_.size());
  const Line line{++number_, at_, text_.substr(at_, end - at_)};
  at_ = end;
  if (at_ < text_.size()) at_ += text_.substr(at_, 2) == "\r\n" ? 2 : 1;
  return line;
}

Error error_at(std::size_t line, Reason reason, std::string found, std::string expected, std::string next) {
  Error error;
  error.reason = reason;
  error.place = "line " + std::to_string(line);
  error.found = std::move(found);
  error.expected = std::move(expected);
  error.next = std::move(next);
  return error;
}

std::optional<FormKind> marked_as(std::string_view text) {
  if (text.starts_with(':')) return FormKind::kIntelHex;
  if (text.size() >= 2 && (text[0] == 'S' || text[0] == 's') && text[1] >= '0' && text[1] <= '9') {
    return FormKind::kSRecord;
  }
  return std::nullopt;
}

std::uint32_t Record::number(std::size_t at, std::size_t length) const {
  std::uint32_t value = 0;
  for (std::size_t i = 0; i < length; ++i) value = (value << 8) | bytes[at + i];
  return value;
}

Result<Record> decode_intel_hex(const Line& line) {
  if (marked_as(line.text) != FormKind::kIntelHex) return fail(not_a_mark(line, "\":\""));
  CALSEAL_ASSIGN(const Record record, decode_digits(line, 1, 5));
  CALSEAL_CHECK(check_sum(line, record, 0));
  return record;
}

Result<Record> decode_s_record(const Line& line) {
  if (marked_as(line.text) != FormKind::kSRecord) return fail(not_a_mark(line, "\"S\" and a decimal digit"));
  CALSEAL_ASSIGN(const Record record, decode_digits(line, 2, 1));
  if (record.size < 2) {
    return fail(error_at(line.number, Reason::kRecordMalformed, "a count of 0",
                         "at least the checksum's byte", kExportAgain));
  }
  CALSEAL_CHECK(check_sum(line, record, 0xff));
  return record;
}

Result<FormFile> gather(FormKind kind, Bytes file, std::vector<RecordPlace> records, Ending ending) {
  const std::vector<std::uint32_t> order = by_address(records);
  CALSEAL_CHECK(refuse_overlap(file, records, order));
  if (!ending.ended) {
    return fail(error_at(ending.lines, Reason::kRecordEndMissing, "the end of the file after this line",
                         "an end record", "The file is cut off: copy it again whole, or export it again."));
  }
  FormFile form{kind, {}, std::move(file), std::move(records)};
  const std::string_view text = text_of(form.original);
  for (std::size_t i = 0; i < order.size();) {
    // Sizes first, so that each segment is allocated once and exactly.
    const std::uint64_t begin = form.records[order[i]].address;
    std::uint64_t end = begin;
    std::size_t past = i;
    while (past < order.size() && form.records[order[past]].address == end)
      end = end_of(form.records[order[past++]]);
    Segment& segment = form.segments.emplace_back(Segment{begin, {}});
    segment.bytes.reserve(static_cast<std::size_t>(end - begin));
    for (; i < past; ++i) {
      const RecordPlace& record = form.records[order[i]];
      for (std::size_t at = record.data_at; at < record.checksum_at; at += 2) {
        segment.bytes.push_back(
            static_cast<std::uint8_t>(digit_value(text[at]) * 16 + digit_value(text[at + 1])));
      }
    }
  }
  return form;
}

}  // namespace calseal::record_text
