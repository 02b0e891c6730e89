#if defined(__x86_64__)

#include <cpuid.h>
#include <immintrin.h>

#include <utility>

#include "calseal/digest/sha256_blocks.h"

#define CALSEAL_SHA256_TARGET __attribute__((target("sha,ssse3,sse4.1")))

namespace calseal::detail {
namespace {

#define CALSEAL_X86_INLINE CALSEAL_SHA256_TARGET __attribute__((always_inline)) inline

using Words = __m128i;
// In the order of sha256rnds2: A, B, E, F and C, D, G, H, the first in the highest quarter.
struct Registers {
  Words first, second;
};

CALSEAL_X86_INLINE Words load_words(const void* at) {
  return _mm_loadu_si128(static_cast<const __m128i_u*>(at));
}
// Sixteen bytes as four words, which FIPS 180-4 writes with the highest byte first.
CALSEAL_X86_INLINE Words load_block(const std::uint8_t* at) {
  return _mm_shuffle_epi8(load_words(at), _mm_set_epi8(12, 13, 14, 15, 8, 9, 10, 11, 4, 5, 6, 7, 0, 1, 2, 3));
}
CALSEAL_X86_INLINE Words add(Words a, Words b) { return _mm_add_epi32(a, b); }

CALSEAL_X86_INLINE void four_rounds(Registers& state, Words words) {
  state.second = _mm_sha256rnds2_epu32(state.second, state.first, words);
  state.first = _mm_sha256rnds2_epu32(state.first, state.second, _mm_shuffle_epi32(words, 0x0e));
}

CALSEAL_X86_INLINE Words schedule(Words w0, Words w4, Words w8, Words w12) {
  return _mm_sha256msg2_epu32(add(_mm_sha256msg1_epu32(w0, w4), _mm_alignr_epi8(w12, w8, 4)), w12);
}

CALSEAL_X86_INLINE Registers read_state(const Sha256State& state) {
  const Words cdab = _mm_shuffle_epi32(load_words(state.data()), 0xb1);
  const Words efgh = _mm_shuffle_epi32(load_words(state.data() + 4), 0x1b);
  return {_mm_alignr_epi8(cdab, efgh, 8), _mm_blend_epi16(efgh, cdab, 0xf0)};
}
CALSEAL_X86_INLINE void write_state(const Registers& registers, Sha256State& state) {
  const Words feba = _mm_shuffle_epi32(registers.first, 0x1b);
  const Words dchg = _mm_shuffle_epi32(registers.second, 0xb1);
  auto* const to = reinterpret_cast<__m128i_u*>(state.data());
  _mm_storeu_si128(to, _mm_blend_epi16(feba, dchg, 0xf0));
  _mm_storeu_si128(to + 1, _mm_alignr_epi8(dchg, feba, 8));
}

#include "calseal/digest/sha256_blocks_body.inc"

bool processor_has_them() {
  unsigned a = 0, b = 0, c = 0, d = 0;
  if (__get_cpuid(1, &a, &b, &c, &d) == 0 || (c & bit_SSSE3) == 0 || (c & bit_SSE4_1) == 0) return false;
  return __get_cpuid_count(7, 0, &a, &b, &c, &d) != 0 && (b & (1U << 29)) != 0;  // SHA
}

}  // namespace

const Sha256Instructions* sha256_instructions() {
  static constexpr Sha256Instructions kInstructions{run_one, run_two};
  static const bool kThere = processor_has_them();
  return kThere ? &kInstructions : nullptr;
}

}  // namespace calseal::detail

#endif
