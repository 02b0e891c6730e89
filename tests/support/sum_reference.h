// Additive checks from their definitions: one word at a time, one reduction at each step, no state kept.
#pragma once

#include <cstdint>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/digest/sum.h"

namespace calseal::reference {

__extension__ using Wide = unsigned __int128;

// Words of `bytes` bytes; the last one filled up with 00.
inline std::vector<std::uint64_t> words(ByteView data, std::size_t bytes, ByteOrder order) {
  Bytes padded(data.begin(), data.end());
  while (padded.size() % bytes != 0) padded.push_back(0);
  std::vector<std::uint64_t> out;
  for (std::size_t at = 0; at < padded.size(); at += bytes) {
    std::uint64_t word = 0;
    for (std::size_t i = 0; i < bytes; ++i) {
      const std::size_t from = order == ByteOrder::kBig ? i : bytes - 1 - i;
      word = (word << 8) | padded[at + from];
    }
    out.push_back(word);
  }
  return out;
}

inline std::uint64_t compute_sum(const SumParameters& p, ByteView data) {
  const Wide modulus = Wide{1} << p.accumulator;
  Wide sum = p.init;
  for (const std::uint64_t word : words(data, static_cast<std::size_t>(p.unit / 8), p.order)) {
    if (p.operation == SumOperation::kXor) {
      sum ^= word;
      continue;
    }
    sum += word;
    if (p.operation == SumOperation::kAdd) sum %= modulus;
    while (sum >= modulus) sum = sum % modulus + sum / modulus;
  }
  return static_cast<std::uint64_t>(sum);
}

inline std::uint32_t compute_fletcher(int width, ByteOrder order, ByteView data) {
  const std::uint64_t modulus = width == 16 ? 255 : 65535;
  std::uint64_t sum1 = 0;
  std::uint64_t sum2 = 0;
  for (const std::uint64_t word : words(data, static_cast<std::size_t>(width / 16), order)) {
    sum1 = (sum1 + word) % modulus;
    sum2 = (sum2 + sum1) % modulus;
  }
  return static_cast<std::uint32_t>((sum2 << (width / 2)) | sum1);
}

inline std::uint32_t compute_adler32(ByteView data) {
  std::uint32_t a = 1;
  std::uint32_t b = 0;
  for (const std::uint8_t byte : data) {
    a = (a + byte) % 65521;
    b = (b + a) % 65521;
  }
  return (b << 16) | a;
}

}  // namespace calseal::reference
