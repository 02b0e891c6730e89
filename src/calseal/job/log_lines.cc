#include "calseal/job/log_lines.h"

#include <array>

#include "calseal/base/text.h"

namespace calseal {
namespace {

constexpr std::size_t kLooked = 4096;  // bytes in which zeros tell UTF-16

// Code points of 0x80 to 0x9f in Windows-1252; 0 where there is none. All other bytes are code points of the
// same value. Source: the index windows-1252 of the Encoding Standard (recalled, not looked up), where the
// five free places stay controls.
constexpr std::array<std::uint16_t, 32> kWindows1252{
    0x20ac, 0,      0x201a, 0x0192, 0x201e, 0x2026, 0x2020, 0x2021, 0x02c6, 0x2030, 0x0160,
    0x2039, 0x0152, 0,      0x017d, 0,      0,      0x2018, 0x2019, 0x201c, 0x201d, 0x2022,
    0x2013, 0x2014, 0x02dc, 0x2122, 0x0161, 0x203a, 0x0153, 0,      0x017e, 0x0178};

// RFC 3629, section 3.
void append_utf8(std::uint32_t point, std::string& out) {
  const auto put = [&](std::uint32_t byte) { out += static_cast<char>(byte); };
  if (point < 0x80) return put(point);
  if (point < 0x800) {
    put(0xc0 | point >> 6);
  } else {
    if (point < 0x10000) {
      put(0xe0 | point >> 12);
    } else {
      put(0xf0 | point >> 18);
      put(0x80 | (point >> 12 & 0x3f));
    }
    put(0x80 | (point >> 6 & 0x3f));
  }
  put(0x80 | (point & 0x3f));
}

bool is_high(std::uint32_t unit) { return unit >= 0xd800 && unit < 0xdc00; }
bool is_low(std::uint32_t unit) { return unit >= 0xdc00 && unit < 0xe000; }

// False where a byte is no character there.
bool to_utf8(std::string& line) {
  std::string out;
  for (const char c : line) {
    const auto byte = static_cast<std::uint8_t>(c);
    const std::uint32_t point = byte >= 0x80 && byte < 0xa0 ? kWindows1252[byte - 0x80] : byte;
    if (point == 0) return false;
    append_utf8(point, out);
  }
  line = std::move(out);
  return true;
}

}  // namespace

LogLines::LogLines(Pieces pieces, std::string name) : pieces_(std::move(pieces)), name_(std::move(name)) {}

std::string LogLines::encoding() const {
  if (wide_ == Wide::kLittle || wide_ == Wide::kBig) return "utf-16";
  return narrow_ ? "windows-1252" : "utf-8";
}

tl::unexpected<Error> LogLines::malformed(std::string found, std::string expected) const {
  return fail({Reason::kLogMalformed, name_, "line " + std::to_string(number_), std::move(found),
               std::move(expected), "export the log again as text"});
}

// What the first bytes say: a byte order mark, or the zeros that UTF-16 has at every other place.
void LogLines::begin() {
  if (raw_.starts_with("\xef\xbb\xbf")) {
    wide_ = Wide::kNo;
    raw_.erase(0, 3);
  } else if (raw_.starts_with("\xff\xfe") || raw_.starts_with("\xfe\xff")) {
    wide_ = raw_[0] == '\xff' ? Wide::kLittle : Wide::kBig;
    raw_.erase(0, 2);
  } else {
    std::size_t zeros[2] = {0, 0};
    for (std::size_t i = 0; i < std::min(raw_.size(), kLooked); ++i) zeros[i % 2] += raw_[i] == '\0' ? 1 : 0;
    wide_ = zeros[0] == zeros[1] ? Wide::kNo : zeros[1] > zeros[0] ? Wide::kLittle : Wide::kBig;
  }
}

// RFC 2781, section 2.2. A half that stands alone becomes U+FFFD.
void LogLines::take_wide() {
  std::size_t at = 0;
  for (; at + 2 <= raw_.size(); at += 2) {
    const std::uint32_t first = static_cast<std::uint8_t>(raw_[at]);
    const std::uint32_t second = static_cast<std::uint8_t>(raw_[at + 1]);
    const std::uint32_t unit = wide_ == Wide::kLittle ? first | second << 8 : second | first << 8;
    if (high_ != 0 && is_low(unit)) {
      append_utf8(0x10000 + ((high_ - 0xd800) << 10) + (unit - 0xdc00), buffer_);
      high_ = 0;
      continue;
    }
    if (high_ != 0) append_utf8(0xfffd, buffer_);
    high_ = is_high(unit) ? unit : 0;
    if (high_ == 0) append_utf8(is_low(unit) ? 0xfffd : unit, buffer_);
  }
  raw_.erase(0, at);
}

// More bytes of lines in the buffer, or the end.
Status LogLines::fill() {
  buffer_.erase(0, at_);
  at_ = 0;
  CALSEAL_ASSIGN(const ByteView piece, pieces_());
  over_ = piece.empty();
  raw_ += text_of(piece);
  if (wide_ == Wide::kUnknown) {
    if (raw_.size() < kLooked && !over_) return {};
    begin();
  }
  if (wide_ == Wide::kNo) {
    buffer_ += raw_;
    raw_.clear();
    return {};
  }
  take_wide();
  if (over_ && (!raw_.empty() || high_ != 0))
    return malformed("half a character of UTF-16 at the end", "whole characters");
  return {};
}

// The line as UTF-8 and free of control characters.
Status LogLines::finish(std::string& line) {
  if (!line.empty() && line.back() == '\r') line.pop_back();
  if (!is_utf8(line)) {
    if (wide_ != Wide::kNo || !to_utf8(line))
      return malformed("bytes that are no text", "UTF-8, UTF-16 or Windows-1252");
    narrow_ = true;
  }
  for (const char c : line) {
    const auto byte = static_cast<std::uint8_t>(c);
    if ((byte < 0x20 && c != '\t') || byte == 0x7f) return malformed("a control character", "text");
  }
  return {};
}

Result<bool> LogLines::next(std::string& line) {
  std::size_t looked = at_;
  for (;;) {
    const std::size_t end = buffer_.find('\n', looked);
    if (end != std::string::npos || (over_ && at_ < buffer_.size())) {
      ++number_;
      ended_ = end != std::string::npos;
      line = buffer_.substr(at_, ended_ ? end - at_ : std::string::npos);
      at_ = ended_ ? end + 1 : buffer_.size();
      CALSEAL_CHECK(finish(line));
      return true;
    }
    if (over_) return false;
    if (buffer_.size() - at_ > kLogLineLimit) {
      ++number_;
      return malformed("a line of more than " + grouped(kLogLineLimit) + " bytes", "shorter lines");
    }
    looked = buffer_.size() - at_;
    CALSEAL_CHECK(fill());
  }
}

}  // namespace calseal
