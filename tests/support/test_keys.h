// Fixed Ed25519 keys that sign in tests of layers which only verify. Never for anything real.
#pragma once

#include <openssl/evp.h>

#include <algorithm>
#include <array>
#include <cstdlib>
#include <memory>
#include <string>

#include "calseal/bundle/prefix.h"
#include "calseal/trust/key.h"
#include "calseal/trust/statement.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// The key whose 32 secret bytes all have one value.
class TestKey {
 public:
  explicit TestKey(std::uint8_t value) : TestKey(Bytes(32, value)) {}
  explicit TestKey(const Bytes& secret)
      : key_(EVP_PKEY_new_raw_private_key(EVP_PKEY_ED25519, nullptr, secret.data(), secret.size()),
             &EVP_PKEY_free) {
    std::size_t size = public_key_.bytes.size();
    if (EVP_PKEY_get_raw_public_key(key_.get(), public_key_.bytes.data(), &size) != 1) std::abort();
  }

  const PublicKey& public_key() const { return public_key_; }
  KeyId id() const { return compute_key_id(public_key_); }
  PrefixSignature sign(ByteView message) const {
    PrefixSignature out;
    out.key_id = id();
    std::size_t size = out.signature.size();
    const std::unique_ptr<EVP_MD_CTX, void (*)(EVP_MD_CTX*)> context(EVP_MD_CTX_new(), &EVP_MD_CTX_free);
    const std::uint8_t nothing = 0;
    if (EVP_DigestSignInit(context.get(), nullptr, nullptr, nullptr, key_.get()) != 1 ||
        EVP_DigestSign(context.get(), out.signature.data(), &size,
                       message.empty() ? &nothing : message.data(), message.size()) != 1) {
      std::abort();
    }
    return out;
  }

 private:
  std::unique_ptr<EVP_PKEY, void (*)(EVP_PKEY*)> key_;
  PublicKey public_key_;
};

inline TrustedKey trusted(const TestKey& key, const std::string& name, std::vector<Role> roles) {
  TrustedKey out;
  out.id = key.id();
  out.public_key = key.public_key();
  out.name = name;
  out.roles = std::move(roles);
  out.valid_from = "2026-01-01T00:00:00Z";
  return out;
}

// Root is the key of value 1; an author (2) and a reviewer (3).
inline TrustFile sample_trust() {
  TrustFile trust;
  trust.version = 4;
  trust.shop = "Sample shop";
  trust.root = TestKey(1).public_key();
  trust.claimed_time = "2026-01-02T03:04:05Z";
  trust.keys = {trusted(TestKey(2), "Author", {Role::kAuthor}),
                trusted(TestKey(3), "Reviewer", {Role::kReviewer})};
  std::sort(trust.keys.begin(), trust.keys.end(),
            [](const TrustedKey& a, const TrustedKey& b) { return a.id < b.id; });
  return trust;
}

inline TrustedKey& key_of(TrustFile& trust, std::uint8_t value) {
  return *std::find_if(trust.keys.begin(), trust.keys.end(),
                       [&](const TrustedKey& key) { return key.id == TestKey(value).id(); });
}

inline std::string signed_by(const std::string& text, const std::vector<std::uint8_t>& signers) {
  std::vector<PrefixSignature> signatures;
  for (const std::uint8_t signer : signers) signatures.push_back(TestKey(signer).sign(view_of(text)));
  return write_statement(text, signatures);
}

}  // namespace calseal
