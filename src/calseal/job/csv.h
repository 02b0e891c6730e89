// Comma-separated values after RFC 4180, strictly, one record at a time.
//
// Lines end in CR LF or LF. A field stands in double quotes or holds no quote; inside quotes a quote is
// written twice, and separators and line ends are content. All records have as many fields as the first. The
// separator may also be a semicolon or a tab, which RFC 4180 does not know (common practice, no source).
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"

namespace calseal {

inline constexpr std::size_t kCsvColumnLimit = 4096;
inline constexpr std::size_t kCsvFieldLimit = 65536;  // bytes of one field

class CsvReader {
 public:
  // `text` must outlive the reader. A byte order mark at its beginning is passed over.
  CsvReader(std::string_view text, char separator, std::string name);

  // The next record into `fields`, false at the end. kLogMalformed with the line: a stray quote, a quoted
  // field without end, another number of fields, too many or too long ones, a control character or bytes that
  // are not UTF-8, an empty line.
  Result<bool> next(std::vector<std::string>& fields);

  // Line in which the record that was read last begins, from 1.
  std::uint64_t line() const { return record_line_; }

 private:
  tl::unexpected<Error> malformed(std::string found, std::string expected) const;
  Result<std::string> quoted();
  Result<std::string> plain();

  std::string_view text_;
  std::size_t at_ = 0;
  char separator_;
  std::string name_;
  std::uint64_t line_ = 1;
  std::uint64_t record_line_ = 1;
  std::size_t columns_ = 0;
};

}  // namespace calseal
