#include "calseal/digest/crc_fold.h"

namespace calseal {
namespace detail {
namespace {

// All 64 bits in reverse order.
std::uint64_t reverse_bits(std::uint64_t value) {
  std::uint64_t reversed = 0;
  for (int i = 0; i < 64; ++i, value >>= 1) reversed = (reversed << 1) | (value & 1U);
  return reversed;
}

// a x^count mod x^64 + q.
std::uint64_t times_x(std::uint64_t a, std::uint64_t q, int count) {
  for (; count > 0; --count) a = (a << 1) ^ (q & (0 - (a >> 63)));
  return a;
}

}  // namespace

CrcFold::CrcFold(std::uint64_t scaled_poly, bool reflected) {
  const std::uint64_t q = scaled_poly;
  // A product of two reflected quadwords stands one bit too high, so reflected factors have one x less.
  std::uint64_t power = reflected ? std::uint64_t{1} << 63 : q;
  for (std::size_t d = 1; d <= kFarthest; ++d) {
    const std::uint64_t last = times_x(power, q, 64);  // for the quadword nearer to the end
    const std::uint64_t first = times_x(last, q, 64);  // 64 bits farther to go
    distances[kFarthest - d] =
        reflected ? CrcFoldPair{reverse_bits(first), reverse_bits(last)} : CrcFoldPair{last, first};
    power = first;
  }
  // Long division of x^128 by Q: the quotient's x^64 is certain, then bit by bit.
  std::uint64_t quotient = 0;
  std::uint64_t remainder = q;
  for (int i = 0; i < 64; ++i) {
    quotient = (quotient << 1) | (remainder >> 63);
    remainder = times_x(remainder, q, 1);
  }
  plain = {quotient, q};
  if (reflected) {
    const std::uint64_t top = std::uint64_t{1} << 63;
    barrett = {reverse_bits(top | (quotient >> 1)), reverse_bits(top | (q >> 1))};
    quotient_again = 0 - (q & 1U);
  } else {
    barrett = plain;
  }
}

CrcFoldKernel crc_fold_kernel(CrcKernel kernel, bool reflected) {
#if defined(__x86_64__)
  switch (kernel) {
    case CrcKernel::kTable:
      return nullptr;
    case CrcKernel::kFold128:
      return crc_fold_128(reflected);
    case CrcKernel::kFold256:
      return crc_fold_256(reflected);
    case CrcKernel::kFold512:
      return crc_fold_512(reflected);
  }
#endif
  static_cast<void>(kernel), static_cast<void>(reflected);
  return nullptr;
}

CrcFoldMultiply crc_fold_multiply(CrcKernel kernel) {
#if defined(__x86_64__)
  if (kernel != CrcKernel::kTable)
    return crc_fold_multiply_128;  // every other kernel's needs include this one's
#endif
  static_cast<void>(kernel);
  return nullptr;
}

}  // namespace detail

bool crc_kernel_available(CrcKernel kernel) {
  switch (kernel) {
    case CrcKernel::kTable:
      return true;
#if defined(__x86_64__)
    case CrcKernel::kFold128:
      return __builtin_cpu_supports("pclmul") && __builtin_cpu_supports("sse4.1");
    case CrcKernel::kFold256:
      return __builtin_cpu_supports("pclmul") && __builtin_cpu_supports("avx2") &&
             __builtin_cpu_supports("vpclmulqdq");
    case CrcKernel::kFold512:
      return crc_kernel_available(CrcKernel::kFold256) && __builtin_cpu_supports("avx512f") &&
             __builtin_cpu_supports("avx512bw") && __builtin_cpu_supports("avx512vl");
#else
    default:
      break;
#endif
  }
  return false;
}

CrcKernel best_crc_kernel() {
  static const CrcKernel kBest = [] {
    for (const CrcKernel kernel : {CrcKernel::kFold512, CrcKernel::kFold256, CrcKernel::kFold128}) {
      if (crc_kernel_available(kernel)) return kernel;
    }
    return CrcKernel::kTable;
  }();
  return kBest;
}

}  // namespace calseal
