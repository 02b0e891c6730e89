// Comparisons go unrecorded in a fuzzer whose inputs are recipes: it finds nothing to copy from them, and
// noting them takes a third of its time. The linker leads the calls here (--wrap in
// tests/fuzz/CMakeLists.txt).
#include <cstdint>

extern "C" {

void __wrap___sanitizer_cov_trace_cmp1(std::uint8_t, std::uint8_t) {}
void __wrap___sanitizer_cov_trace_cmp2(std::uint16_t, std::uint16_t) {}
void __wrap___sanitizer_cov_trace_cmp4(std::uint32_t, std::uint32_t) {}
void __wrap___sanitizer_cov_trace_cmp8(std::uint64_t, std::uint64_t) {}
void __wrap___sanitizer_cov_trace_const_cmp1(std::uint8_t, std::uint8_t) {}
void __wrap___sanitizer_cov_trace_const_cmp2(std::uint16_t, std::uint16_t) {}
void __wrap___sanitizer_cov_trace_const_cmp4(std::uint32_t, std::uint32_t) {}
void __wrap___sanitizer_cov_trace_const_cmp8(std::uint64_t, std::uint64_t) {}

}  // extern "C"
