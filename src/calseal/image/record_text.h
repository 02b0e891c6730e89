// What the two record forms share: lines, digits, errors with a line, and bytes gathered from records. Inside
// this layer only; see form.h for the rules.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/image/form.h"

namespace calseal::record_text {

namespace detail {
inline constexpr std::array<std::int8_t, 256> kDigitValues = [] {
  std::array<std::int8_t, 256> values{};
  for (int c = 0; c < 256; ++c) {
    const int value = c >= '0' && c <= '9'   ? c - '0'
                      : c >= 'A' && c <= 'F' ? c - 'A' + 10
                      : c >= 'a' && c <= 'f' ? c - 'a' + 10
                                             : -1;
    values[static_cast<std::size_t>(c)] = static_cast<std::int8_t>(value);
  }
  return values;
}();
}  // namespace detail

// 0 to 15, or -1 for what is not a hexadecimal digit. A table, because the digits of an image cannot be
// predicted.
inline int digit_value(char c) { return detail::kDigitValues[static_cast<unsigned char>(c)]; }
// Upper case; `value` below 16.
char upper_digit(unsigned value);
void append_hex(std::string& text, std::uint64_t value, int digits);

struct Line {
  std::size_t number = 0;  // from 1
  std::size_t begin = 0;   // offset in the file
  std::string_view text;   // without its line end
};

// The lines of a text, ended by LF, CR LF or CR; no empty line after a final line end.
class Lines {
 public:
  explicit Lines(ByteView text) : text_(text_of(text)) {}
  std::optional<Line> next();

 private:
  std::string_view text_;
  std::size_t at_ = 0;
  std::size_t number_ = 0;
};

// `reason` at a line; `next` says what to do.
Error error_at(std::size_t line, Reason reason, std::string found, std::string expected, std::string next);

// The kind whose mark begins `text`: ':' or 'S' and a decimal digit.
std::optional<FormKind> marked_as(std::string_view text);

// A record's bytes, from its count to its checksum.
struct Record {
  std::array<std::uint8_t, 260> bytes{};
  std::size_t size = 0;

  // `length` bytes at `at`, most significant first.
  std::uint32_t number(std::size_t at, std::size_t length) const;
};

// Reads a line's digits behind the mark, and checks mark, digits, length and checksum, but not type or
// address. kRecordMalformed, kRecordChecksum.
Result<Record> decode_intel_hex(const Line& line);
Result<Record> decode_s_record(const Line& line);

// Result of reading all lines.
struct Ending {
  bool ended = false;     // by an end record
  std::size_t lines = 0;  // in the file
};

// Calls `on_record(line)` -> Result<bool>, true for the end record, for each line up to the end record.
// kRecordMalformed (empty line), kRecordAfterEnd, or the error of `on_record`.
template <typename OnRecord>
Result<Ending> read_lines(ByteView text, OnRecord on_record) {
  Ending ending;
  Lines lines(text);
  while (const std::optional<Line> line = lines.next()) {
    ending.lines = line->number;
    if (line->text.empty() && ending.ended) continue;
    if (line->text.empty()) {
      return fail(error_at(line->number, Reason::kRecordMalformed, "an empty line", "a record in every line",
                           "Remove empty lines before the end record, or export the file again."));
    }
    if (ending.ended) {
      return fail(error_at(
          line->number, Reason::kRecordAfterEnd, "more text after the end record", "nothing but line ends",
          "Two files may have been joined: export the file again, or read the controller again."));
    }
    CALSEAL_ASSIGN(ending.ended, on_record(*line));
  }
  return ending;
}

// Completes a record file whose lines are all good: segments from `records`.
// kRecordOverlap, kRecordEndMissing.
Result<FormFile> gather(FormKind kind, Bytes file, std::vector<RecordPlace> records, Ending ending);

// Errors name no file. The file is at most kRecordTextLimit.
Result<FormFile> parse_intel_hex(Bytes file);
Result<FormFile> parse_s_record(Bytes file);

}  // namespace calseal::record_text
