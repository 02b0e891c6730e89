// The lines of a drive log as UTF-8, whatever wrote it: docs/job.md, Drive logs, step 1.
#pragma once

#include <cstdint>
#include <string>

#include "calseal/base/file.h"

namespace calseal {

inline constexpr std::size_t kLogLineLimit = std::size_t{1} << 20;  // bytes of one line, as UTF-8

class LogLines {
 public:
  LogLines(Pieces pieces, std::string name);

  // The next line without its line end (LF or CR LF), false at the end. kLogMalformed: a line above the
  // limit, control characters, half a character of UTF-16. What `pieces` fails with.
  Result<bool> next(std::string& line);

  std::uint64_t number() const { return number_; }  // of the line read last, from 1
  bool ended() const { return ended_; }             // whether that line had a line end
  // "utf-8", "utf-16" or "windows-1252": of what was read so far.
  std::string encoding() const;

 private:
  enum class Wide : std::uint8_t { kUnknown, kNo, kLittle, kBig };
  Status fill();
  void begin();
  void take_wide();
  Status finish(std::string& line);
  tl::unexpected<Error> malformed(std::string found, std::string expected) const;

  Pieces pieces_;
  std::string name_;
  std::string raw_;         // read, not yet UTF-8
  std::string buffer_;      // bytes of lines to come
  std::size_t at_ = 0;      // in the buffer
  std::uint32_t high_ = 0;  // first half of a pair of UTF-16
  bool over_ = false;
  Wide wide_ = Wide::kUnknown;
  bool narrow_ = false;  // a line was Windows-1252
  std::uint64_t number_ = 0;
  bool ended_ = true;
};

}  // namespace calseal
