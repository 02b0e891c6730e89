// Hybrid public key encryption (RFC 9180), base mode, with the one suite that closed parcels have:
// DHKEM(X25519, HKDF-SHA256), HKDF-SHA256, AES-256-GCM.
#pragma once

#include <array>
#include <cstdint>
#include <optional>

#include "calseal/base/bytes.h"
#include "calseal/trust/sheet.h"

namespace calseal {

inline constexpr std::size_t kHpkeTagSize = 16;  // bytes that sealing adds

// 32 secret bytes of X25519 (RFC 7748 section 5); wiped when they go.
struct ParcelSecret {
  std::array<std::uint8_t, 32> bytes{};
  ParcelSecret() = default;
  ParcelSecret(const ParcelSecret&) = default;
  ParcelSecret& operator=(const ParcelSecret&) = default;
  ~ParcelSecret();
};
// From the system's random generator; nothing when that has none to give.
std::optional<ParcelSecret> new_parcel_secret();
std::optional<ParcelKey> public_of(const ParcelSecret& secret);

// Seals, or opens, one message after another (section 5.2); the nonce of each follows from its number.
class HpkeContext {
 public:
  HpkeContext(const std::array<std::uint8_t, 32>& key, const std::array<std::uint8_t, 12>& base_nonce)
      : key_(key), base_nonce_(base_nonce) {}
  HpkeContext(const HpkeContext&) = default;
  HpkeContext& operator=(const HpkeContext&) = default;
  ~HpkeContext();

  // Nothing when libcrypto fails.
  std::optional<Bytes> seal(ByteView aad, ByteView plain);
  // Nothing for what was not sealed so.
  std::optional<Bytes> open(ByteView aad, ByteView sealed);

 private:
  std::array<std::uint8_t, 12> next_nonce();

  std::array<std::uint8_t, 32> key_;
  std::array<std::uint8_t, 12> base_nonce_;
  std::uint64_t number_ = 0;
};

struct HpkeSender {
  ParcelKey enc;  // the ephemeral public key, which goes along
  HpkeContext context;
};
// Section 5.1.1. Nothing for a public key with which any private key gives zero.
std::optional<HpkeSender> setup_sender(const ParcelKey& to, ByteView info, const ParcelSecret& ephemeral);
std::optional<HpkeContext> setup_receiver(const ParcelKey& enc, ByteView info, const ParcelSecret& secret);

}  // namespace calseal
