// CRC by carry-less multiplication: what the kernels share; private to the digest layer.
//
// Method: Gopal et al., "Fast CRC Computation for Generic Polynomials Using PCLMULQDQ Instruction" (Intel
// white paper, 2009), in the words of docs/performance.md. A CRC of fewer than 64 bits runs as one of 64 bits
// over the scaled polynomial Q = P x^(64 - width), whose register is Crc's state as it stands.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

#include "calseal/digest/crc.h"

namespace calseal::detail {

// Factors that move the two halves of a 128-bit lane over a distance; `low` goes with the lane's low
// quadword.
struct CrcFoldPair {
  std::uint64_t low = 0;
  std::uint64_t high = 0;
};

// Constants of one polynomial, in the bit order of its reflection.
struct CrcFold {
  // `scaled_poly`: Q without its top term, as if not reflected.
  CrcFold(std::uint64_t scaled_poly, bool reflected);

  // The longest distance, in lanes, that a kernel folds over.
  static constexpr std::size_t kFarthest = 16;
  // [kFarthest - d]: over d lanes of 16 bytes. Descending, so that neighbouring lanes load theirs at once;
  // the last is zero, for a lane that stays where it is.
  std::array<CrcFoldPair, kFarthest + 1> distances{};
  const CrcFoldPair* over(std::size_t lanes) const { return &distances[kFarthest - lanes]; }

  CrcFoldPair plain;    // low: x^128 div Q, high: Q; without top terms, never reflected
  CrcFoldPair barrett;  // the same in the kernels' order; reflected, the term that does not fit is x^0
  std::uint64_t quotient_again = 0;  // all ones when Q's term left out in `barrett` counts: reflected, x^0
};

// Whether a kernel is faster than the tables: measured for every length, tests/bench/crc_lengths.cc. Tables
// get over 8 bytes in a single step.
inline bool crc_fold_pays(std::size_t size) { return size >= 4 && size != 8 && size != 9; }

// State after `size` bytes, for which crc_fold_pays().
using CrcFoldKernel = std::uint64_t (*)(const CrcFold&, std::uint64_t state, const std::uint8_t* at,
                                        std::size_t size);

// Null for kTable, and on other architectures.
CrcFoldKernel crc_fold_kernel(CrcKernel kernel, bool reflected);

// a b mod Q, given `plain`. Null for kTable, and on other architectures.
using CrcFoldMultiply = std::uint64_t (*)(const CrcFoldPair& plain, std::uint64_t a, std::uint64_t b);
CrcFoldMultiply crc_fold_multiply(CrcKernel kernel);

// What crc_fold_kernel() chooses from; compiled on x86-64 only. Each needs what its name says of the
// processor.
CrcFoldKernel crc_fold_128(bool reflected);  // PCLMULQDQ, SSE 4.1
CrcFoldKernel crc_fold_256(bool reflected);  // VPCLMULQDQ, AVX2
CrcFoldKernel crc_fold_512(bool reflected);  // VPCLMULQDQ, AVX-512 F, BW and VL

std::uint64_t crc_fold_multiply_128(const CrcFoldPair& plain, std::uint64_t a, std::uint64_t b);

}  // namespace calseal::detail
