// Cyclic redundancy checks of 3 to 64 bits from their parameters.
//
// Parameters follow Williams, "A painless guide to CRC error detection algorithms" (1993), section 15 (the
// Rocksoft model). Not for authentication: a few free bytes make any message give any value.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

struct CrcParameters {
  int width = 32;            // bits, 3 to 64
  std::uint64_t poly = 0;    // without the top term, as if not reflected; odd
  std::uint64_t init = 0;    // register before the first bit, as if not reflected
  bool refin = false;        // feed each byte least significant bit first
  bool refout = false;       // reflect the register before xorout
  std::uint64_t xorout = 0;  // applied last
  friend bool operator==(const CrcParameters&, const CrcParameters&) = default;
};

// kMapChecksum when the width is outside 3..64, the polynomial is even or a value is wider than the width.
Status validate_crc(const CrcParameters& parameters);

// How a Crc gets over its bytes; the value does not depend on it.
enum class CrcKernel {
  kTable,    // table look-ups, anywhere
  kFold128,  // carry-less multiplication: PCLMULQDQ with SSE 4.1
  kFold256,  // VPCLMULQDQ with AVX2
  kFold512,  // VPCLMULQDQ with AVX-512 F, BW and VL
};

// Whether this processor and system run it.
bool crc_kernel_available(CrcKernel kernel);
// The fastest that is available.
CrcKernel best_crc_kernel();

// One algorithm, ready to run; immutable, so one object serves any number of threads.
class Crc {
 public:
  // Parameters must satisfy validate_crc().
  explicit Crc(const CrcParameters& parameters) : Crc(parameters, best_crc_kernel()) {}
  // The kernel must be available; for tests and benchmarks.
  Crc(const CrcParameters& parameters, CrcKernel kernel);

  const CrcParameters& parameters() const { return parameters_; }

  // Streaming: state = start(); state = update(state, piece) ...; value = finish(state).
  // The state is private to Crc.
  std::uint64_t start() const;
  // Splitting the data anywhere gives the same value, at any alignment. Speeds: docs/performance.md.
  std::uint64_t update(std::uint64_t state, ByteView data) const;
  std::uint64_t finish(std::uint64_t state) const;

  std::uint64_t compute(ByteView data) const { return finish(update(start(), data)); }

  // What finish() returns after an error-free codeword, before xorout: the catalogue's residue.
  std::uint64_t residue() const;

  // CRC of A followed by B from both CRCs and the length of B in bytes. O(log length_b).
  std::uint64_t combine(std::uint64_t crc_a, std::uint64_t crc_b, std::uint64_t length_b) const;

  // For bytes that stand at many offsets of one message, whatever its other bytes are: a CRC is affine over
  // GF(2). Polynomials have the coefficient of x^i in bit i.
  // a * x^(8 * bytes) modulo the polynomial. O(log bytes).
  std::uint64_t shift(std::uint64_t a, std::uint64_t bytes) const;
  // What flipping each bit of a byte changes in the CRC, lowest bit first; `powers` is the sum of
  // x^(8 * (length - 1 - offset)) over the offsets at which the byte stands.
  std::array<std::uint64_t, 8> byte_effects(std::uint64_t powers) const;

 private:
  struct Engine;
  CrcParameters parameters_;
  std::shared_ptr<const Engine> engine_;
};

// The CRC of these parameters. Making one takes longer than many a coverage, and each takes 35 KiB: every
// thread keeps the last few that it asked for, and no more, however many a region map names.
Crc crc_of(const CrcParameters& parameters);

}  // namespace calseal
