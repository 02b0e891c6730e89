#if defined(__x86_64__)

#include <immintrin.h>

#include <cstring>

#include "calseal/digest/crc_fold.h"

#define CALSEAL_FOLD_TARGET __attribute__((target("pclmul,sse4.1")))

namespace calseal::detail {
namespace {

#define CALSEAL_WIDE_INLINE CALSEAL_FOLD_TARGET __attribute__((always_inline)) inline

using Wide = __m128i;
constexpr std::size_t kAccumulators = 8;

CALSEAL_WIDE_INLINE Wide load_wide(const std::uint8_t* at) {
  return _mm_loadu_si128(reinterpret_cast<const __m128i_u*>(at));
}
CALSEAL_WIDE_INLINE Wide spread(const CrcFoldPair* pair) {
  return _mm_loadu_si128(reinterpret_cast<const __m128i_u*>(pair));
}
CALSEAL_WIDE_INLINE Wide widen(__m128i first) { return first; }
CALSEAL_WIDE_INLINE Wide add(Wide a, Wide b) { return _mm_xor_si128(a, b); }
CALSEAL_WIDE_INLINE Wide fold_wide(Wide a, Wide pair, Wide there) {
  return add(add(_mm_clmulepi64_si128(a, pair, 0x00), there), _mm_clmulepi64_si128(a, pair, 0x11));
}
CALSEAL_WIDE_INLINE Wide reverse_wide(Wide a) {
  return _mm_shuffle_epi8(a, _mm_set_epi8(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15));
}
CALSEAL_WIDE_INLINE __m128i gather(const CrcFold&, Wide a) { return a; }

#include "calseal/digest/crc_fold_body.inc"

}  // namespace

CrcFoldKernel crc_fold_128(bool reflected) { return reflected ? run<true> : run<false>; }

// The product, then Barrett's reduction of its 128 bits, as in reduce_lane().
CALSEAL_FOLD_TARGET std::uint64_t crc_fold_multiply_128(const CrcFoldPair& plain, std::uint64_t a,
                                                        std::uint64_t b) {
  const __m128i two = _mm_clmulepi64_si128(_mm_cvtsi64_si128(static_cast<long long>(a)),
                                           _mm_cvtsi64_si128(static_cast<long long>(b)), 0x00);
  const __m128i barrett = load_pair(&plain);
  const __m128i quotient = _mm_xor_si128(_mm_clmulepi64_si128(two, barrett, 0x01), two);
  const __m128i product = _mm_clmulepi64_si128(quotient, barrett, 0x11);
  return static_cast<std::uint64_t>(_mm_cvtsi128_si64(_mm_xor_si128(two, product)));
}

}  // namespace calseal::detail

#endif
