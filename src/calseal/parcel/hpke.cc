#include "calseal/parcel/hpke.h"

#include <openssl/crypto.h>
#include <openssl/evp.h>
#include <openssl/rand.h>

#include <algorithm>
#include <memory>
#include <string_view>

#include "calseal/base/free_with.h"
#include "calseal/digest/sha256.h"

namespace calseal {
namespace {

using Key = std::unique_ptr<EVP_PKEY, FreeWith<EVP_PKEY_free>>;
using Derivation = std::unique_ptr<EVP_PKEY_CTX, FreeWith<EVP_PKEY_CTX_free>>;
using Cipher = std::unique_ptr<EVP_CIPHER_CTX, FreeWith<EVP_CIPHER_CTX_free>>;

constexpr std::string_view kKemSuite("KEM\x00\x20", 5);
constexpr std::string_view kSuite("HPKE\x00\x20\x00\x01\x00\x02", 10);

Bytes joined(std::initializer_list<ByteView> parts) {
  Bytes all;
  for (const ByteView part : parts) all.insert(all.end(), part.begin(), part.end());
  return all;
}

// Section 4. HKDF-Extract is HMAC with the salt as key.
Sha256 labelled_extract(std::string_view suite, ByteView salt, std::string_view label, ByteView ikm) {
  return compute_hmac_sha256(salt, joined({view_of("HPKE-v1"), view_of(suite), view_of(label), ikm}));
}

// HKDF-Expand to at most 32 bytes is its first block.
Bytes labelled_expand(std::string_view suite, ByteView prk, std::string_view label, ByteView info,
                      std::uint8_t size) {
  const Bytes length{0, size};
  const Bytes first{1};
  const Sha256 block = compute_hmac_sha256(
      prk, joined({length, view_of("HPKE-v1"), view_of(suite), view_of(label), info, first}));
  return {block.bytes.begin(), block.bytes.begin() + size};
}

Key private_key(const ParcelSecret& secret) {
  return Key(EVP_PKEY_new_raw_private_key(EVP_PKEY_X25519, nullptr, secret.bytes.data(), 32));
}

// Nothing for a result of zero, which libcrypto refuses (RFC 7748 section 6.1).
std::optional<Bytes> exchange(const ParcelSecret& mine, const ParcelKey& theirs) {
  const Key own = private_key(mine);
  const Key peer(EVP_PKEY_new_raw_public_key(EVP_PKEY_X25519, nullptr, theirs.bytes.data(), 32));
  if (!own || !peer) return std::nullopt;
  const Derivation context(EVP_PKEY_CTX_new(own.get(), nullptr));
  Bytes shared(32);
  std::size_t size = shared.size();
  if (!context || EVP_PKEY_derive_init(context.get()) != 1 ||
      EVP_PKEY_derive_set_peer(context.get(), peer.get()) != 1 ||
      EVP_PKEY_derive(context.get(), shared.data(), &size) != 1 || size != shared.size())
    return std::nullopt;
  return shared;
}

// The key schedule of mode 0: no pre-shared key.
HpkeContext schedule(ByteView shared, ByteView info) {
  const Sha256 id_hash = labelled_extract(kSuite, {}, "psk_id_hash", {});
  const Sha256 info_hash = labelled_extract(kSuite, {}, "info_hash", info);
  const Bytes mode{0};
  const Bytes context = joined({mode, id_hash.bytes, info_hash.bytes});
  const Sha256 secret = labelled_extract(kSuite, shared, "secret", {});
  const Bytes key = labelled_expand(kSuite, secret.bytes, "key", context, 32);
  const Bytes nonce = labelled_expand(kSuite, secret.bytes, "base_nonce", context, 12);
  std::array<std::uint8_t, 32> key_bytes{};
  std::array<std::uint8_t, 12> nonce_bytes{};
  std::ranges::copy(key, key_bytes.begin());
  std::ranges::copy(nonce, nonce_bytes.begin());
  return {key_bytes, nonce_bytes};
}

std::optional<HpkeContext> setup(const std::optional<Bytes>& exchanged, const ParcelKey& enc,
                                 const ParcelKey& receiver, ByteView info) {
  if (!exchanged) return std::nullopt;
  const Bytes kem_context = joined({enc.bytes, receiver.bytes});
  const Sha256 prk = labelled_extract(kKemSuite, {}, "eae_prk", *exchanged);
  return schedule(labelled_expand(kKemSuite, prk.bytes, "shared_secret", kem_context, 32), info);
}

}  // namespace

ParcelSecret::~ParcelSecret() { OPENSSL_cleanse(bytes.data(), bytes.size()); }

std::optional<ParcelSecret> new_parcel_secret() {
  ParcelSecret secret;
  if (RAND_bytes(secret.bytes.data(), static_cast<int>(secret.bytes.size())) != 1) return std::nullopt;
  return secret;
}

std::optional<ParcelKey> public_of(const ParcelSecret& secret) {
  const Key key = private_key(secret);
  ParcelKey out;
  std::size_t size = out.bytes.size();
  if (!key || EVP_PKEY_get_raw_public_key(key.get(), out.bytes.data(), &size) != 1) return std::nullopt;
  return out;
}

HpkeContext::~HpkeContext() { OPENSSL_cleanse(key_.data(), key_.size()); }

std::array<std::uint8_t, 12> HpkeContext::next_nonce() {
  std::array<std::uint8_t, 12> nonce = base_nonce_;
  for (std::size_t i = 0; i < 8; ++i)
    nonce[11 - i] = static_cast<std::uint8_t>(nonce[11 - i] ^ (number_ >> (8 * i)));
  ++number_;
  return nonce;
}

namespace {

// `put` is EVP_EncryptUpdate() or EVP_DecryptUpdate(), which take no empty input.
template <typename Put>
bool put_in(Put put, EVP_CIPHER_CTX* cipher, std::uint8_t* out, ByteView in, int& size) {
  size = 0;
  return in.empty() || put(cipher, out, &size, in.data(), static_cast<int>(in.size())) == 1;
}

}  // namespace

std::optional<Bytes> HpkeContext::seal(ByteView aad, ByteView plain) {
  const auto nonce = next_nonce();
  const Cipher cipher(EVP_CIPHER_CTX_new());
  Bytes out(plain.size() + kHpkeTagSize);
  int size = 0;
  int last = 0;
  if (!cipher ||
      EVP_EncryptInit_ex(cipher.get(), EVP_aes_256_gcm(), nullptr, key_.data(), nonce.data()) != 1 ||
      !put_in(EVP_EncryptUpdate, cipher.get(), nullptr, aad, size) ||
      !put_in(EVP_EncryptUpdate, cipher.get(), out.data(), plain, size) ||
      EVP_EncryptFinal_ex(cipher.get(), out.data() + size, &last) != 1 ||
      EVP_CIPHER_CTX_ctrl(cipher.get(), EVP_CTRL_AEAD_GET_TAG, static_cast<int>(kHpkeTagSize),
                          out.data() + plain.size()) != 1)
    return std::nullopt;
  return out;
}

std::optional<Bytes> HpkeContext::open(ByteView aad, ByteView sealed) {
  const auto nonce = next_nonce();
  if (sealed.size() < kHpkeTagSize) return std::nullopt;
  const ByteView text = sealed.first(sealed.size() - kHpkeTagSize);
  Bytes tag(sealed.end() - kHpkeTagSize, sealed.end());
  const Cipher cipher(EVP_CIPHER_CTX_new());
  Bytes out(text.size() + 1);  // an empty one still needs an address
  int size = 0;
  int last = 0;
  if (!cipher ||
      EVP_DecryptInit_ex(cipher.get(), EVP_aes_256_gcm(), nullptr, key_.data(), nonce.data()) != 1 ||
      !put_in(EVP_DecryptUpdate, cipher.get(), nullptr, aad, size) ||
      !put_in(EVP_DecryptUpdate, cipher.get(), out.data(), text, size) ||
      EVP_CIPHER_CTX_ctrl(cipher.get(), EVP_CTRL_AEAD_SET_TAG, static_cast<int>(kHpkeTagSize), tag.data()) !=
          1 ||
      EVP_DecryptFinal_ex(cipher.get(), out.data() + size, &last) != 1)
    return std::nullopt;
  out.resize(text.size());
  return out;
}

std::optional<HpkeSender> setup_sender(const ParcelKey& to, ByteView info, const ParcelSecret& ephemeral) {
  const std::optional<ParcelKey> enc = public_of(ephemeral);
  if (!enc) return std::nullopt;
  const auto context = setup(exchange(ephemeral, to), *enc, to, info);
  if (!context) return std::nullopt;
  return HpkeSender{*enc, *context};
}

std::optional<HpkeContext> setup_receiver(const ParcelKey& enc, ByteView info, const ParcelSecret& secret) {
  const std::optional<ParcelKey> receiver = public_of(secret);
  if (!receiver) return std::nullopt;
  return setup(exchange(secret, enc), enc, *receiver, info);
}

}  // namespace calseal
