// SHA-256 (FIPS 180-4), through OpenSSL's EVP.
//
// No data makes these fail. A libcrypto without memory or without SHA-256 ends the run by an exception, which
// the program's edge reports as an internal fault.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"

namespace calseal {

struct Sha256 {
  std::array<std::uint8_t, 32> bytes{};
  friend auto operator<=>(const Sha256&, const Sha256&) = default;
};

// 64 lower-case hexadecimal digits, and the strict inverse.
std::string digest_text(const Sha256& digest);
std::optional<Sha256> parse_digest(std::string_view text);

Sha256 compute_sha256(ByteView data);

// HMAC-SHA-256 (RFC 2104, FIPS 198-1).
Sha256 compute_hmac_sha256(ByteView key, ByteView data);

// Streaming form; splitting the data anywhere gives the same digest.
class Sha256Hasher {
 public:
  Sha256Hasher();
  ~Sha256Hasher();
  Sha256Hasher(Sha256Hasher&&) noexcept;
  Sha256Hasher& operator=(Sha256Hasher&&) noexcept;

  void update(ByteView data);
  // The digest of all data so far; the hasher then starts again from nothing.
  Sha256 finish();

 private:
  struct Context;
  std::unique_ptr<Context> context_;
};

}  // namespace calseal
