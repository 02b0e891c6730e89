#include "calseal/receipt/customer_key.h"

#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <openssl/rand.h>

#include <memory>
#include <utility>

#include "calseal/base/free_with.h"

namespace calseal {
namespace {

using Key = std::unique_ptr<EVP_PKEY, FreeWith<EVP_PKEY_free>>;

Key key_of(const Bytes& seed) {
  return Key(EVP_PKEY_new_raw_private_key(EVP_PKEY_ED25519, nullptr, seed.data(), seed.size()));
}

tl::unexpected<Error> no_library(const std::string& step) {
  return fail({Reason::kInternal, "", step, "libcrypto refuses", "a key that signs", "try again"});
}

}  // namespace

CustomerKey::CustomerKey(Bytes seed) : seed_(std::move(seed)) {}
CustomerKey::CustomerKey(CustomerKey&& other) noexcept
    : seed_(std::move(other.seed_)), public_key_(other.public_key_) {
  other.seed_.clear();
}
CustomerKey::~CustomerKey() { cleanse(seed_); }

Result<CustomerKey> CustomerKey::generate() {
  Bytes seed(kSeedSize);
  if (RAND_bytes(seed.data(), static_cast<int>(seed.size())) != 1) return no_library("random");
  Result<CustomerKey> key = from_seed(seed);
  cleanse(seed);
  return key;
}

Result<CustomerKey> CustomerKey::from_seed(ByteView seed) {
  if (seed.size() != kSeedSize) return no_library("a seed of another length");
  CustomerKey key(Bytes(seed.begin(), seed.end()));
  const Key raw = key_of(key.seed_);
  std::size_t size = kPublicKeySize;
  if (!raw || EVP_PKEY_get_raw_public_key(raw.get(), key.public_key_.bytes.data(), &size) != 1 ||
      size != kPublicKeySize)
    return no_library("customer's key");
  return key;
}

Result<PrefixSignature> CustomerKey::sign(ByteView message) const {
  const Key raw = key_of(seed_);
  const std::unique_ptr<EVP_MD_CTX, FreeWith<EVP_MD_CTX_free>> context(EVP_MD_CTX_new());
  PrefixSignature signature;
  signature.key_id = compute_key_id(public_key_);
  std::size_t size = signature.signature.size();
  if (!raw || !context || EVP_DigestSignInit(context.get(), nullptr, nullptr, nullptr, raw.get()) != 1 ||
      EVP_DigestSign(context.get(), signature.signature.data(), &size, message.data(), message.size()) != 1 ||
      !verify_signature(public_key_, message, signature.signature))
    return no_library("signing");
  return signature;
}

void cleanse(Bytes& secret) { OPENSSL_cleanse(secret.data(), secret.size()); }

}  // namespace calseal
