#if defined(__x86_64__)

#include <immintrin.h>

#include <cstring>

#include "calseal/digest/crc_fold.h"

#define CALSEAL_FOLD_TARGET __attribute__((target("pclmul,sse4.1,avx2,vpclmulqdq")))

namespace calseal::detail {
namespace {

#define CALSEAL_WIDE_INLINE CALSEAL_FOLD_TARGET __attribute__((always_inline)) inline

using Wide = __m256i;
constexpr std::size_t kAccumulators = 8;

CALSEAL_WIDE_INLINE Wide load_wide(const std::uint8_t* at) {
  return _mm256_loadu_si256(reinterpret_cast<const __m256i_u*>(at));
}
CALSEAL_WIDE_INLINE Wide spread(const CrcFoldPair* pair) {
  return _mm256_broadcastsi128_si256(_mm_loadu_si128(reinterpret_cast<const __m128i_u*>(pair)));
}
CALSEAL_WIDE_INLINE Wide widen(__m128i first) { return _mm256_zextsi128_si256(first); }
CALSEAL_WIDE_INLINE Wide add(Wide a, Wide b) { return _mm256_xor_si256(a, b); }
CALSEAL_WIDE_INLINE Wide fold_wide(Wide a, Wide pair, Wide there) {
  return add(add(_mm256_clmulepi64_epi128(a, pair, 0x00), there), _mm256_clmulepi64_epi128(a, pair, 0x11));
}
CALSEAL_WIDE_INLINE Wide reverse_wide(Wide a) {
  return _mm256_shuffle_epi8(
      a, _mm256_broadcastsi128_si256(_mm_set_epi8(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15)));
}
// Both lanes as one, at the place of the last.
CALSEAL_WIDE_INLINE __m128i gather(const CrcFold& fold, Wide a) {
  const __m128i first = _mm256_castsi256_si128(a);
  const __m128i pair = _mm_loadu_si128(reinterpret_cast<const __m128i_u*>(fold.over(1)));
  return _mm_xor_si128(_mm_xor_si128(_mm_clmulepi64_si128(first, pair, 0x00), _mm256_extracti128_si256(a, 1)),
                       _mm_clmulepi64_si128(first, pair, 0x11));
}

#include "calseal/digest/crc_fold_body.inc"

}  // namespace

CrcFoldKernel crc_fold_256(bool reflected) { return reflected ? run<true> : run<false>; }

}  // namespace calseal::detail

#endif
