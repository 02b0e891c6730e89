// A key of the customer's own, from 32 secret bytes: what he says to a shop is signed with it. Nobody vouches
// for it but he, by voice, and it protects no vehicle.
#pragma once

#include <cstddef>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/prefix.h"
#include "calseal/trust/key.h"

namespace calseal {

inline constexpr std::size_t kSeedSize = 32;  // bytes

class CustomerKey {
 public:
  // From the system's random generator; kInternal when that has none to give.
  static Result<CustomerKey> generate();
  // From the 32 secret bytes of RFC 8032 section 5.1.5; kInternal for another length.
  static Result<CustomerKey> from_seed(ByteView seed);
  CustomerKey(CustomerKey&& other) noexcept;
  CustomerKey& operator=(CustomerKey&&) = delete;
  ~CustomerKey();

  ByteView seed() const { return seed_; }
  const PublicKey& public_key() const { return public_key_; }
  // Pure Ed25519 over the whole message, verified before it is returned; kInternal when libcrypto fails.
  Result<PrefixSignature> sign(ByteView message) const;

 private:
  explicit CustomerKey(Bytes seed);

  Bytes seed_;  // wiped when it goes
  PublicKey public_key_;
};

// Overwritten in a way that the compiler keeps.
void cleanse(Bytes& secret);

}  // namespace calseal
