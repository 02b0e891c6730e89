#include "calseal/image/entropy.h"

#include <array>
#include <cmath>
#include <cstdint>

namespace calseal {
namespace {

constexpr std::size_t kOpaqueBlock = 4096;
constexpr double kOpaqueEntropy = 7.9;  // 4 KiB of random bytes: about 7.95

}  // namespace

double entropy(ByteView bytes) {
  std::array<std::uint64_t, 256> counts{};
  for (const std::uint8_t byte : bytes) ++counts[byte];
  double bits = 0;
  for (const std::uint64_t count : counts) {
    if (count == 0) continue;
    const double share = static_cast<double>(count) / static_cast<double>(bytes.size());
    bits -= share * std::log2(share);
  }
  return bits;
}

bool looks_opaque(ByteView bytes) {
  std::size_t random = 0, others = 0;
  for (std::size_t at = 0; at + kOpaqueBlock <= bytes.size(); at += kOpaqueBlock) {
    const double bits = entropy(bytes.subspan(at, kOpaqueBlock));
    if (bits > kOpaqueEntropy) {
      ++random;
    } else if (bits > 0) {
      ++others;
    }
  }
  return random >= 4 && random >= 9 * others;
}

}  // namespace calseal
