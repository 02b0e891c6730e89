#include "calseal/sign/private_key.h"

#include <openssl/crypto.h>
#include <openssl/err.h>
#include <openssl/evp.h>

#include <algorithm>

#include "calseal/base/file.h"
#include "calseal/base/free_with.h"
#include "calseal/base/text.h"
#include "calseal/sign/sealed_pem.h"

namespace calseal {
namespace {

using ContextPointer = std::unique_ptr<EVP_MD_CTX, FreeWith<EVP_MD_CTX_free>>;

tl::unexpected<Error> ed25519_failed(const std::string& step) {
  ERR_clear_error();
  return fail({Reason::kInternal, "", step, "a failure of libcrypto", "a result", "report this fault"});
}

}  // namespace

struct PrivateKey::Secret {
  SealedKey key;
};

PrivateKey::PrivateKey(std::unique_ptr<Secret> secret) : secret_(std::move(secret)) {}
PrivateKey::PrivateKey(PrivateKey&&) noexcept = default;
PrivateKey& PrivateKey::operator=(PrivateKey&&) noexcept = default;
PrivateKey::~PrivateKey() = default;

Result<PrivateKey> PrivateKey::adopt(std::unique_ptr<Secret> secret, const std::string& name) {
  PrivateKey key(std::move(secret));
  std::size_t size = key.public_key_.bytes.size();
  if (EVP_PKEY_get_raw_public_key(key.secret_->key.get(), key.public_key_.bytes.data(), &size) != 1) {
    return ed25519_failed("public key");
  }
  CALSEAL_CHECK(check_public_key(key.public_key_, name));
  key.id_ = compute_key_id(key.public_key_);
  return key;
}

Result<PrivateKey> PrivateKey::generate() {
  auto secret = std::make_unique<Secret>(Secret{SealedKey(EVP_PKEY_Q_keygen(nullptr, nullptr, "ED25519"))});
  if (secret->key == nullptr) return ed25519_failed("key generation");
  return adopt(std::move(secret), "");
}

Result<PrivateKey> PrivateKey::from_seed(ByteView seed) {
  if (seed.size() != 32) {
    return fail({Reason::kKeyFileInvalid, "", "", grouped(seed.size()) + " secret bytes", "32 secret bytes",
                 "check that this is the private key file"});
  }
  auto secret = std::make_unique<Secret>(
      Secret{SealedKey(EVP_PKEY_new_raw_private_key(EVP_PKEY_ED25519, nullptr, seed.data(), seed.size()))});
  if (secret->key == nullptr) return ed25519_failed("key from secret bytes");
  return adopt(std::move(secret), "");
}

Result<PrefixSignature> PrivateKey::sign(ByteView message) const {
  CALSEAL_ASSIGN(const PrefixSignature signature, sign_unverified(message));
  if (!verify_signature(public_key_, message, signature.signature))
    return ed25519_failed("signature read back");
  return signature;
}

Result<PrefixSignature> PrivateKey::sign_unverified(ByteView message) const {
  PrefixSignature out;
  out.key_id = id_;
  std::size_t size = out.signature.size();
  const ContextPointer context(EVP_MD_CTX_new());
  const std::uint8_t nothing = 0;  // an empty message still needs an address
  const std::uint8_t* const data = message.empty() ? &nothing : message.data();
  if (context == nullptr ||
      EVP_DigestSignInit(context.get(), nullptr, nullptr, nullptr, secret_->key.get()) != 1 ||
      EVP_DigestSign(context.get(), out.signature.data(), &size, data, message.size()) != 1 ||
      size != kSignatureSize) {
    return ed25519_failed("signing");
  }
  return out;
}

Result<std::string> PrivateKey::encrypted_pem(std::string_view passphrase) const {
  return seal_private_pem(secret_->key.get(), passphrase);
}

Result<PrivateKey> PrivateKey::from_encrypted_pem(ByteView pem, std::string_view passphrase,
                                                  const std::string& name) {
  CALSEAL_ASSIGN(SealedKey key, open_private_pem(pem, passphrase, kSigningPem, name));
  return adopt(std::make_unique<Secret>(Secret{std::move(key)}), name);
}

Result<PrivateKey> read_private_key(const std::string& path, std::string_view passphrase) {
  CALSEAL_ASSIGN(const Bytes pem, read_private_pem(path));
  return PrivateKey::from_encrypted_pem(pem, passphrase, printable(path));
}

Result<std::vector<PrivateKey>> read_private_keys(const std::vector<std::string>& paths,
                                                  std::string_view passphrase) {
  std::vector<PrivateKey> keys;
  for (const std::string& path : paths) {
    CALSEAL_ASSIGN(PrivateKey key, read_private_key(path, passphrase));
    keys.push_back(std::move(key));
  }
  return keys;
}

void wipe(std::string& secret) {
  OPENSSL_cleanse(secret.data(), secret.size());
  secret.clear();
}

}  // namespace calseal
