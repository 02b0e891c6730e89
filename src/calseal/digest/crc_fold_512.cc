#if defined(__x86_64__)

#include <immintrin.h>

#include <cstring>

#include "calseal/digest/crc_fold.h"

#define CALSEAL_FOLD_TARGET __attribute__((target("pclmul,sse4.1,avx2,avx512f,avx512bw,avx512vl,vpclmulqdq")))

namespace calseal::detail {
namespace {

#define CALSEAL_WIDE_INLINE CALSEAL_FOLD_TARGET __attribute__((always_inline)) inline

using Wide = __m512i;
constexpr std::size_t kAccumulators = 4;
// Masks that keep everything: GCC 12 takes the forms without a mask for uses of an uninitialized variable.
constexpr __mmask16 kAll = 0xffff;

CALSEAL_WIDE_INLINE Wide load_wide(const std::uint8_t* at) { return _mm512_loadu_si512(at); }
CALSEAL_WIDE_INLINE Wide spread(const CrcFoldPair* pair) {
  return _mm512_maskz_broadcast_i32x4(kAll, _mm_loadu_si128(reinterpret_cast<const __m128i_u*>(pair)));
}
CALSEAL_WIDE_INLINE Wide widen(__m128i first) { return _mm512_zextsi128_si512(first); }
CALSEAL_WIDE_INLINE Wide add(Wide a, Wide b) { return _mm512_xor_si512(a, b); }
CALSEAL_WIDE_INLINE Wide fold_wide(Wide a, Wide pair, Wide there) {
  // 0x96: the exclusive or of all three.
  return _mm512_ternarylogic_epi64(_mm512_clmulepi64_epi128(a, pair, 0x00),
                                   _mm512_clmulepi64_epi128(a, pair, 0x11), there, 0x96);
}
CALSEAL_WIDE_INLINE Wide reverse_wide(Wide a) {
  return _mm512_shuffle_epi8(a, _mm512_maskz_broadcast_i32x4(kAll, _mm_set_epi8(0, 1, 2, 3, 4, 5, 6, 7, 8, 9,
                                                                                10, 11, 12, 13, 14, 15)));
}
// All four lanes as one, at the place of the last: each folded over its own distance, the last by nothing.
CALSEAL_WIDE_INLINE __m128i gather(const CrcFold& fold, Wide a) {
  const Wide pairs = _mm512_loadu_si512(fold.over(3));
  const Wide stays = _mm512_maskz_mov_epi64(0xc0, a);
  const Wide moved = fold_wide(a, pairs, stays);
  const __m256i half = _mm256_xor_si256(_mm512_maskz_extracti64x4_epi64(kAll & 0xf, moved, 0),
                                        _mm512_maskz_extracti64x4_epi64(kAll & 0xf, moved, 1));
  return _mm_xor_si128(_mm256_castsi256_si128(half), _mm256_extracti128_si256(half, 1));
}

#include "calseal/digest/crc_fold_body.inc"

}  // namespace

CrcFoldKernel crc_fold_512(bool reflected) { return reflected ? run<true> : run<false>; }

}  // namespace calseal::detail

#endif
