// SHA-256 by a processor's own instructions: the rounds over whole blocks; private to the digest layer.
//
// Source: FIPS 180-4, 6.2.2. Instructions: Intel SHA Extensions ("New Instructions Supporting the Secure Hash
// Algorithm on Intel Architecture Processors", 2013); Armv8 Cryptographic Extension, in the names of ACLE.
#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string_view>

#include "calseal/digest/sha256_many.h"

namespace calseal::detail {

inline constexpr std::size_t kSha256Block = 64;  // bytes

using Sha256State = std::array<std::uint32_t, 8>;
// FIPS 180-4, 5.3.3.
inline constexpr Sha256State kSha256Start{0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a,
                                          0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19};

// FIPS 180-4, 4.2.2.
alignas(16) inline constexpr std::array<std::uint32_t, 64> kSha256Constants{
    0x428a2f98, 0x71374491, 0xb5c0fbcf, 0xe9b5dba5, 0x3956c25b, 0x59f111f1, 0x923f82a4, 0xab1c5ed5,
    0xd807aa98, 0x12835b01, 0x243185be, 0x550c7dc3, 0x72be5d74, 0x80deb1fe, 0x9bdc06a7, 0xc19bf174,
    0xe49b69c1, 0xefbe4786, 0x0fc19dc6, 0x240ca1cc, 0x2de92c6f, 0x4a7484aa, 0x5cb0a9dc, 0x76f988da,
    0x983e5152, 0xa831c66d, 0xb00327c8, 0xbf597fc7, 0xc6e00bf3, 0xd5a79147, 0x06ca6351, 0x14292967,
    0x27b70a85, 0x2e1b2138, 0x4d2c6dfc, 0x53380d13, 0x650a7354, 0x766a0abb, 0x81c2c92e, 0x92722c85,
    0xa2bfe8a1, 0xa81a664b, 0xc24b8b70, 0xc76c51a3, 0xd192e819, 0xd6990624, 0xf40e3585, 0x106aa070,
    0x19a4c116, 0x1e376c08, 0x2748774c, 0x34b0bcb5, 0x391c0cb3, 0x4ed8aa4a, 0x5b9cca4f, 0x682e6ff3,
    0x748f82ee, 0x78a5636f, 0x84c87814, 0x8cc70208, 0x90befffa, 0xa4506ceb, 0xbef9a3f7, 0xc67178f2};

// A message's state, and where its next blocks stand.
struct Sha256Lane {
  Sha256State* state;
  const std::uint8_t* at;
};

// Each goes over so many blocks: of one message, or of two at once, for an instruction waits longer for the
// one before it than for one of another message.
struct Sha256Instructions {
  void (*one)(Sha256Lane lane, std::size_t blocks);
  void (*two)(Sha256Lane first, Sha256Lane second, std::size_t blocks);
};

// Those that this processor has; nullptr: none.
const Sha256Instructions* sha256_instructions();

// Lanes where there are instructions (nullptr: none) that pass a known-answer test of messages of unequal
// length, in either place; EVP for everything where libcrypto takes SHA-256 from another provider than its
// default one, as it does under FIPS properties.
Sha256Engine choose_sha256_engine(const Sha256Instructions* instructions, std::string_view provider);

// Of libcrypto's SHA-256.
std::string_view sha256_provider();

}  // namespace calseal::detail
