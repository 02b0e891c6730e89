// Ed25519 public keys and what a signature proves (RFC 8032, the pure variant).
#pragma once

#include <array>
#include <cstdint>
#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"

namespace calseal {

inline constexpr std::size_t kPublicKeySize = 32;           // bytes
inline constexpr std::uint64_t kPublicKeyFileLimit = 4096;  // bytes

// The 32 bytes of RFC 8032 section 5.1.5.
struct PublicKey {
  std::array<std::uint8_t, kPublicKeySize> bytes{};
  friend auto operator<=>(const PublicKey&, const PublicKey&) = default;
};

// SHA-256 of the key's SubjectPublicKeyInfo (RFC 8410 section 4: 44 bytes of DER).
using KeyId = Sha256;

std::array<std::uint8_t, 44> subject_public_key_info(const PublicKey& key);
KeyId compute_key_id(const PublicKey& key);

// kKeyWeak for the eight points of small order, under which signatures for any message can be made, in all
// their fourteen encodings, and for every y that is not reduced (2^255-19 and above). `name` only names the
// file in errors.
Status check_public_key(const PublicKey& key, const std::string& name);

// Whether `signature` was made over `message` by the holder of `key`. False also for another length than 64
// bytes, for S not below the group order (RFC 8032 section 5.1.7), and for a key that check_public_key()
// refuses.
bool verify_signature(const PublicKey& key, ByteView message, ByteView signature);

// "-----BEGIN PUBLIC KEY-----" and so on (RFC 7468 section 13); exactly what `openssl pkey -pubout` writes.
std::string public_key_pem(const PublicKey& key);
// The inverse; line ends may be CRLF, the last may be missing. kKeyFileInvalid, kKeyWeak.
Result<PublicKey> parse_public_key_pem(ByteView text, const std::string& name);

}  // namespace calseal
