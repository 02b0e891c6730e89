// The lines of a file that only grows, up to the size that it had when it was opened.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

class LineReader {
 public:
  // kFileMissing, kFileUnreadable, kFileTooLarge. An empty file has no lines.
  static Result<LineReader> open(const std::string& path, std::uint64_t size_limit, std::size_t line_limit);
  LineReader(LineReader&& other) noexcept;
  LineReader& operator=(LineReader&&) = delete;
  ~LineReader();

  // The next whole line without its line end, valid until the next call; nothing at the end. kLedgerDamaged
  // for a line that is longer than the limit.
  Result<std::optional<std::string_view>> next();
  std::uint64_t consumed() const { return consumed_; }      // bytes of whole lines so far
  std::uint64_t left() const { return size_ - consumed_; }  // after the end: of a line without a line end
  const std::string& shown() const { return shown_; }

 private:
  LineReader(int fd, std::uint64_t size, std::size_t line_limit, std::string shown);
  Status fill();

  int fd_;
  std::uint64_t size_;
  std::size_t line_limit_;
  std::string shown_;
  std::uint64_t read_ = 0;
  std::uint64_t consumed_ = 0;
  std::string buffer_;
  std::size_t at_ = 0;  // in the buffer
};

}  // namespace calseal
