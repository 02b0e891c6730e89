// CRC by plain long division, bit by bit over the augmented message: the definition in Williams, "A painless
// guide to CRC error detection algorithms", sections 5 to 8 and 15. Slow, and shares nothing with the library
// but the parameters.
#pragma once

#include <cstdint>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/digest/catalogue.h"
#include "calseal/digest/crc.h"

namespace calseal::reference {

__extension__ using Wide = unsigned __int128;

struct WideCrc {
  int width = 32;  // at most 127
  Wide poly = 0, init = 0;
  bool refin = false, refout = false;
  Wide xorout = 0;
};

inline WideCrc widen(const CrcParameters& p) {
  return {p.width, p.poly, p.init, p.refin, p.refout, p.xorout};
}

inline WideCrc widen(const CatalogueEntry& entry) {
  const auto wide = [](const CrcValue& value) { return (Wide{value.high} << 64) | value.low; };
  return {entry.width, wide(entry.poly), wide(entry.init), entry.refin, entry.refout, wide(entry.xorout)};
}

inline Wide compute_crc(const WideCrc& crc, ByteView message) {
  const auto width = static_cast<std::size_t>(crc.width);
  std::vector<int> bits;
  bits.reserve(message.size() * 8 + width);
  for (const std::uint8_t byte : message) {
    for (int i = 0; i < 8; ++i) bits.push_back((byte >> (crc.refin ? i : 7 - i)) & 1);
  }
  bits.insert(bits.end(), width, 0);
  // A start value in the register is the same as that value over the first bits of the augmented message.
  for (std::size_t i = 0; i < width; ++i) bits[i] ^= static_cast<int>((crc.init >> (width - 1 - i)) & 1U);

  const Wide divisor = (Wide{1} << width) | crc.poly;
  Wide remainder = 0;
  for (const int bit : bits) {
    remainder = (remainder << 1) | static_cast<Wide>(bit);
    if ((remainder >> width) != 0) remainder ^= divisor;
  }
  if (!crc.refout) return remainder ^ crc.xorout;
  Wide reflected = 0;
  for (std::size_t i = 0; i < width; ++i) {
    if (((remainder >> i) & 1U) != 0) reflected |= Wide{1} << (width - 1 - i);
  }
  return reflected ^ crc.xorout;
}

inline std::uint64_t compute_crc(const CrcParameters& parameters, ByteView message) {
  return static_cast<std::uint64_t>(compute_crc(widen(parameters), message));
}

// The CRC of every beginning of `message`, [n] being that of its first n bytes: the same division, gone
// through once, with the zeros behind each beginning divided on the side.
inline std::vector<std::uint64_t> compute_prefix_crcs(const CrcParameters& p, ByteView message) {
  const WideCrc crc = widen(p);
  const auto width = static_cast<std::size_t>(crc.width);
  const Wide divisor = (Wide{1} << width) | crc.poly;
  // Takes one more bit, which is the `place`th of the augmented message.
  const auto divide = [&](Wide remainder, int bit, std::size_t place) {
    const int start = place < width ? static_cast<int>((crc.init >> (width - 1 - place)) & 1U) : 0;
    remainder = (remainder << 1) | static_cast<Wide>(bit ^ start);
    return (remainder >> width) != 0 ? remainder ^ divisor : remainder;
  };
  std::vector<std::uint64_t> values;
  Wide remainder = 0;
  for (std::size_t length = 0;; ++length) {
    Wide value = remainder;
    for (std::size_t i = 0; i < width; ++i) value = divide(value, 0, 8 * length + i);
    if (crc.refout) {
      Wide reflected = 0;
      for (std::size_t i = 0; i < width; ++i) reflected |= ((value >> i) & 1U) << (width - 1 - i);
      value = reflected;
    }
    values.push_back(static_cast<std::uint64_t>(value ^ crc.xorout));
    if (length == message.size()) return values;
    for (std::size_t i = 0; i < 8; ++i) {
      remainder = divide(remainder, (message[length] >> (crc.refin ? i : 7 - i)) & 1, 8 * length + i);
    }
  }
}

}  // namespace calseal::reference
