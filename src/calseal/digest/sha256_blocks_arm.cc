#if defined(__aarch64__)

#include <arm_neon.h>
#if defined(__linux__)
#include <sys/auxv.h>
#endif

#include <utility>

#include "calseal/digest/sha256_blocks.h"

// Nothing: the whole file is compiled for processors that have them, as older compilers declare them for no
// others.
#define CALSEAL_SHA256_TARGET

namespace calseal::detail {
namespace {

#define CALSEAL_ARM_INLINE __attribute__((always_inline)) inline

using Words = uint32x4_t;
// A to D and E to H.
struct Registers {
  Words first, second;
};

CALSEAL_ARM_INLINE Words load_words(const std::uint32_t* at) { return vld1q_u32(at); }
// Sixteen bytes as four words, which FIPS 180-4 writes with the highest byte first.
CALSEAL_ARM_INLINE Words load_block(const std::uint8_t* at) {
  return vreinterpretq_u32_u8(vrev32q_u8(vld1q_u8(at)));
}
CALSEAL_ARM_INLINE Words add(Words a, Words b) { return vaddq_u32(a, b); }

CALSEAL_ARM_INLINE void four_rounds(Registers& state, Words words) {
  const Words first = state.first;
  state.first = vsha256hq_u32(first, state.second, words);
  state.second = vsha256h2q_u32(state.second, first, words);
}

CALSEAL_ARM_INLINE Words schedule(Words w0, Words w4, Words w8, Words w12) {
  return vsha256su1q_u32(vsha256su0q_u32(w0, w4), w8, w12);
}

CALSEAL_ARM_INLINE Registers read_state(const Sha256State& state) {
  return {load_words(state.data()), load_words(state.data() + 4)};
}
CALSEAL_ARM_INLINE void write_state(const Registers& registers, Sha256State& state) {
  vst1q_u32(state.data(), registers.first);
  vst1q_u32(state.data() + 4, registers.second);
}

#include "calseal/digest/sha256_blocks_body.inc"

bool processor_has_them() {
#if defined(__linux__)
  constexpr unsigned long kSha2 = 1UL << 6;  // HWCAP_SHA2
  return (getauxval(AT_HWCAP) & kSha2) != 0;
#elif defined(__ARM_FEATURE_SHA2)
  return true;
#else
  return false;
#endif
}

}  // namespace

const Sha256Instructions* sha256_instructions() {
  static constexpr Sha256Instructions kInstructions{run_one, run_two};
  static const bool kThere = processor_has_them();
  return kThere ? &kInstructions : nullptr;
}

}  // namespace calseal::detail

#endif
