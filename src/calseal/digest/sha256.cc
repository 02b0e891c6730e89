#include "calseal/digest/sha256.h"

#include <openssl/core_names.h>
#include <openssl/evp.h>
#include <openssl/params.h>
#include <openssl/provider.h>

#include <algorithm>
#include <stdexcept>

#include "calseal/base/text.h"
#include "calseal/digest/sha256_blocks.h"

namespace calseal {
namespace {

// Only lack of memory or a libcrypto without SHA-256 can lead here; no data can.
void require(bool done) {
  if (!done) throw std::runtime_error("libcrypto cannot compute SHA-256");
}

// Fetching costs more than hashing a short message, so once for the life of the process.
const EVP_MD* sha256() {
  static const EVP_MD* const kAlgorithm = EVP_MD_fetch(nullptr, "SHA256", nullptr);
  require(kAlgorithm != nullptr);
  return kAlgorithm;
}

EVP_MAC* hmac() {
  static EVP_MAC* const kAlgorithm = EVP_MAC_fetch(nullptr, "HMAC", nullptr);
  require(kAlgorithm != nullptr);
  return kAlgorithm;
}

struct FreeMac {
  void operator()(EVP_MAC_CTX* context) const { EVP_MAC_CTX_free(context); }
};

struct FreeDigest {
  void operator()(EVP_MD_CTX* context) const { EVP_MD_CTX_free(context); }
};

}  // namespace

std::string_view detail::sha256_provider() { return OSSL_PROVIDER_get0_name(EVP_MD_get0_provider(sha256())); }

std::string digest_text(const Sha256& digest) { return to_hex(digest.bytes); }

std::optional<Sha256> parse_digest(std::string_view text) {
  Sha256 digest;
  if (text.size() != 2 * digest.bytes.size()) return std::nullopt;
  const std::optional<Bytes> bytes = from_hex(text);
  if (!bytes) return std::nullopt;
  std::copy(bytes->begin(), bytes->end(), digest.bytes.begin());
  return digest;
}

Sha256 compute_sha256(ByteView data) {
  Sha256 digest;
  require(EVP_Digest(data.data(), data.size(), digest.bytes.data(), nullptr, sha256(), nullptr) == 1);
  return digest;
}

Sha256 compute_hmac_sha256(ByteView key, ByteView data) {
  const std::unique_ptr<EVP_MAC_CTX, FreeMac> context(EVP_MAC_CTX_new(hmac()));
  require(context != nullptr);
  char digest_name[] = "SHA256";
  const OSSL_PARAM parameters[] = {OSSL_PARAM_construct_utf8_string(OSSL_MAC_PARAM_DIGEST, digest_name, 0),
                                   OSSL_PARAM_construct_end()};
  // A null key would mean "the key of last time" to libcrypto; an empty one must not be null.
  const std::uint8_t no_key = 0;
  const std::uint8_t* const key_bytes = key.empty() ? &no_key : key.data();
  Sha256 code;
  std::size_t size = 0;
  require(EVP_MAC_init(context.get(), key_bytes, key.size(), parameters) == 1 &&
          EVP_MAC_update(context.get(), data.data(), data.size()) == 1 &&
          EVP_MAC_final(context.get(), code.bytes.data(), &size, code.bytes.size()) == 1 &&
          size == code.bytes.size());
  return code;
}

struct Sha256Hasher::Context {
  Context() : digest(EVP_MD_CTX_new()) {
    require(digest != nullptr);
    restart();
  }
  void restart() { require(EVP_DigestInit_ex2(digest.get(), sha256(), nullptr) == 1); }
  std::unique_ptr<EVP_MD_CTX, FreeDigest> digest;
};

Sha256Hasher::Sha256Hasher() : context_(std::make_unique<Context>()) {}
Sha256Hasher::~Sha256Hasher() = default;
Sha256Hasher::Sha256Hasher(Sha256Hasher&&) noexcept = default;
Sha256Hasher& Sha256Hasher::operator=(Sha256Hasher&&) noexcept = default;

void Sha256Hasher::update(ByteView data) {
  require(EVP_DigestUpdate(context_->digest.get(), data.data(), data.size()) == 1);
}

Sha256 Sha256Hasher::finish() {
  Sha256 digest;
  require(EVP_DigestFinal_ex(context_->digest.get(), digest.bytes.data(), nullptr) == 1);
  context_->restart();
  return digest;
}

}  // namespace calseal
