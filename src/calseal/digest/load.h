// Words out of bytes, in either byte order; private to the digest layer.
#pragma once

#include <bit>
#include <cstdint>
#include <cstring>

namespace calseal::detail {

template <typename Word>
Word swap_bytes(Word word) {
  if constexpr (sizeof(Word) == 8) {
    return __builtin_bswap64(word);
  } else if constexpr (sizeof(Word) == 4) {
    return __builtin_bswap32(word);
  } else if constexpr (sizeof(Word) == 2) {
    return __builtin_bswap16(word);
  } else {
    static_assert(sizeof(Word) == 1);
    return word;
  }
}

// sizeof(Word) bytes at any alignment, first byte least significant.
template <typename Word>
Word load_little(const std::uint8_t* at) {
  Word word;
  std::memcpy(&word, at, sizeof word);
  return std::endian::native == std::endian::little ? word : swap_bytes(word);
}

// The same, first byte most significant.
template <typename Word>
Word load_big(const std::uint8_t* at) {
  return swap_bytes(load_little<Word>(at));
}

}  // namespace calseal::detail
