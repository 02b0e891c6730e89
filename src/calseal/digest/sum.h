// Additive checks: sums of words, exclusive or, Fletcher, Adler-32.
#pragma once

#include <cstdint>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

enum class ByteOrder : std::uint8_t { kLittle, kBig };

enum class SumOperation : std::uint8_t {
  kAdd,           // modulo 2^accumulator
  kAddEndAround,  // one's-complement addition: the carry out is added in again (RFC 1071)
  kXor,
};

// A sum of equal words. "Common practice, no source", apart from RFC 1071 for end-around carry.
struct SumParameters {
  int unit = 8;                          // bits of each word added: 8, 16, 32 or 64
  ByteOrder order = ByteOrder::kLittle;  // of words in the data
  SumOperation operation = SumOperation::kAdd;
  int accumulator = 32;    // bits kept while adding: 8 to 64; at least `unit` for kXor
  std::uint64_t init = 0;  // accumulator before the first word
};

// kMapChecksum when a width is not allowed or the start value does not fit.
Status validate_sum(const SumParameters& parameters);

// Streaming word sum. A trailing part of a word counts as if followed by 00 bytes (RFC 1071 practice).
class Sum {
 public:
  explicit Sum(const SumParameters& parameters);  // must satisfy validate_sum()
  void update(ByteView data);
  // Accumulator now, with a trailing part of a word padded; later updates are not affected.
  std::uint64_t value() const;
  const SumParameters& parameters() const { return parameters_; }

 private:
  std::uint64_t added(std::uint64_t word) const;  // the accumulator with one more word
  void add_byte(std::uint8_t byte);
  void add_words(ByteView data);  // whole words; not for kAddEndAround
  template <typename Word>
  void add_with_carry(ByteView data);
  SumParameters parameters_;
  std::uint64_t accumulator_;
  std::uint64_t partial_ = 0;  // bytes of an unfinished word, first byte in the lowest bits
  int partial_bytes_ = 0;
};

// Fletcher's checksum (Fletcher 1982; RFC 1146 appendix I) over 8-bit (Fletcher-16) or 16-bit (Fletcher-32)
// words. Moduli 255 and 65535; (sum2 << half) | sum1; a trailing byte of a 16-bit word counts as if followed
// by 00. Cannot tell blocks of 00 from blocks of ff.
class Fletcher {
 public:
  Fletcher(int width, ByteOrder order);  // width 16 or 32; order of 16-bit words for 32
  void update(ByteView data);
  std::uint32_t value() const;

 private:
  template <typename Word>
  void add_words(ByteView data);
  int width_;
  ByteOrder order_;
  std::uint32_t sum1_ = 0;
  std::uint32_t sum2_ = 0;
  bool has_half_ = false;
  std::uint8_t half_ = 0;
};

// Adler-32 (RFC 1950 section 8.2), continuing from `state`; start with 1.
std::uint32_t update_adler32(std::uint32_t state, ByteView data);

// The low `bits` bits of a value (1 to 64) complemented or negated within that width.
std::uint64_t ones_complement(std::uint64_t value, int bits);
std::uint64_t twos_complement(std::uint64_t value, int bits);

// 2^bits - 1, bits from 0 to 64.
std::uint64_t low_mask(int bits);

}  // namespace calseal
