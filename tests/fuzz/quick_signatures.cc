// Stands in for libcrypto's Ed25519 in the fuzzers that sign and verify on every run: a digest over public
// key and message costs a twentieth. Linked in front of libcrypto by tests/fuzz/CMakeLists.txt; everything of
// calseal is as it is elsewhere, and the corpora replay under true signatures.
#include <openssl/evp.h>

#include <algorithm>
#include <array>
#include <span>

#include "calseal/digest/sha256.h"
#include "fuzz/must.h"

namespace {

constexpr std::size_t kSize = 64;

// What the last Init said; calseal asks at once after it.
thread_local const EVP_MD_CTX* last_context = nullptr;
thread_local const EVP_PKEY* last_key = nullptr;

int begin(const EVP_MD_CTX* context, const EVP_PKEY* key) {
  calseal::must(EVP_PKEY_get_id(key) == EVP_PKEY_ED25519, "only Ed25519 is stood in for");
  last_context = context;
  last_key = key;
  return 1;
}

std::array<unsigned char, kSize> signature_of(const EVP_MD_CTX* context, const unsigned char* message,
                                              std::size_t size) {
  calseal::must(context == last_context, "what was begun is what is asked");
  calseal::Bytes text(32);
  std::size_t key_size = text.size();
  calseal::must(EVP_PKEY_get_raw_public_key(last_key, text.data(), &key_size) == 1, "a key has its bytes");
  text.insert(text.end(), message, message + size);
  const calseal::Sha256 first = calseal::compute_sha256(text);
  const calseal::Sha256 second = calseal::compute_sha256(first.bytes);
  std::array<unsigned char, kSize> signature{};
  std::ranges::copy(first.bytes, signature.begin());
  std::ranges::copy(second.bytes, signature.begin() + 32);
  signature.back() &= 0x0f;  // below the group order, which calseal asks of S itself
  return signature;
}

}  // namespace

extern "C" {

int EVP_DigestSignInit(EVP_MD_CTX* context, EVP_PKEY_CTX**, const EVP_MD*, ENGINE*, EVP_PKEY* key) {
  return begin(context, key);
}

int EVP_DigestVerifyInit(EVP_MD_CTX* context, EVP_PKEY_CTX**, const EVP_MD*, ENGINE*, EVP_PKEY* key) {
  return begin(context, key);
}

int EVP_DigestSign(EVP_MD_CTX* context, unsigned char* signature, std::size_t* size,
                   const unsigned char* message, std::size_t message_size) {
  if (*size < kSize) return 0;
  std::ranges::copy(signature_of(context, message, message_size), signature);
  *size = kSize;
  return 1;
}

int EVP_DigestVerify(EVP_MD_CTX* context, const unsigned char* signature, std::size_t size,
                     const unsigned char* message, std::size_t message_size) {
  if (size != kSize) return 0;
  return std::ranges::equal(signature_of(context, message, message_size), std::span(signature, size)) ? 1 : 0;
}

}  // extern "C"
