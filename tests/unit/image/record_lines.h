// Builds record lines from their parts, plainly, for tests that need right checksums around a chosen fault.
#pragma once

#include <cstdio>
#include <string>

#include "calseal/base/bytes.h"

namespace calseal {

inline std::string hex_of(const Bytes& bytes, bool lower_case = false) {
  std::string text;
  char digits[3];
  for (const std::uint8_t byte : bytes) {
    std::snprintf(digits, sizeof digits, lower_case ? "%02x" : "%02X", unsigned{byte});
    text += digits;
  }
  return text;
}

inline std::uint8_t low_byte_of_sum(const Bytes& bytes) {
  unsigned sum = 0;
  for (const std::uint8_t byte : bytes) sum += byte;
  return static_cast<std::uint8_t>(sum);
}

// ":" count offset type data checksum, no line end. The count is that of `data`.
inline std::string hex_line(unsigned type, unsigned offset, const Bytes& data, bool lower_case = false) {
  Bytes all{static_cast<std::uint8_t>(data.size()), static_cast<std::uint8_t>(offset >> 8),
            static_cast<std::uint8_t>(offset), static_cast<std::uint8_t>(type)};
  all.insert(all.end(), data.begin(), data.end());
  all.push_back(static_cast<std::uint8_t>(0x100 - low_byte_of_sum(all)));
  return ":" + hex_of(all, lower_case);
}

// "S" type count body checksum, no line end; `body` is address and data.
inline std::string s_line(unsigned type, const Bytes& body, bool lower_case = false) {
  Bytes all{static_cast<std::uint8_t>(body.size() + 1)};
  all.insert(all.end(), body.begin(), body.end());
  all.push_back(static_cast<std::uint8_t>(0xff - low_byte_of_sum(all)));
  return "S" + std::to_string(type) + hex_of(all, lower_case);
}

inline Bytes bytes_of(std::string_view text) { return Bytes(text.begin(), text.end()); }

}  // namespace calseal
