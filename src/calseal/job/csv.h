// Fields of delimiter-separated lines, as RFC 4180 has them: one record at a time.
//
// A field stands in double quotes or holds no quote; inside quotes a quote is written twice, and separators
// and line ends are content (a line end counts as LF). RFC 4180 knows the comma only; semicolon and tab are
// common practice, no source.
#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/job/log_lines.h"

namespace calseal {

inline constexpr std::size_t kCsvColumnLimit = 4096;
inline constexpr std::size_t kCsvFieldLimit = 65536;  // bytes of one field

class CsvReader {
 public:
  // Goes on with the lines that `lines` has not given yet. `lines` must outlive the reader.
  CsvReader(LogLines& lines, char separator, std::string name)
      : lines_(lines), separator_(separator), name_(std::move(name)) {}

  // The next record into `fields`, false at the end; an empty line is one empty field. kLogMalformed with the
  // line: a stray quote, a quoted field without end, too many or too long fields; what LogLines::next() says.
  Result<bool> next(std::vector<std::string>& fields);

  // The fields of one line; nothing when it is no whole record.
  static std::vector<std::string> split(const std::string& line, char separator);

  // Line in which the record that was read last begins, from 1.
  std::uint64_t line() const { return record_line_; }

 private:
  tl::unexpected<Error> malformed(std::string found, std::string expected) const;
  Result<std::string> quoted();
  Result<std::string> plain();

  LogLines& lines_;
  char separator_;
  std::string name_;
  std::string text_;  // the line, and what it goes on with inside quotes
  std::size_t at_ = 0;
  std::uint64_t record_line_ = 1;
};

}  // namespace calseal
