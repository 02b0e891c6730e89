#include "calseal/sign/parcel_secret.h"

#include <openssl/evp.h>

#include "calseal/base/text.h"
#include "calseal/sign/sealed_pem.h"

namespace calseal {
namespace {

tl::unexpected<Error> x25519_failed() {
  return fail(
      {Reason::kInternal, "", "parcel key", "a failure of libcrypto", "a result", "report this fault"});
}

}  // namespace

Result<std::string> encrypted_parcel_pem(ByteView secret, std::string_view passphrase) {
  const SealedKey key(EVP_PKEY_new_raw_private_key(EVP_PKEY_X25519, nullptr, secret.data(), secret.size()));
  if (key == nullptr) return x25519_failed();
  return seal_private_pem(key.get(), passphrase);
}

Result<Bytes> read_parcel_secret(const std::string& path, std::string_view passphrase) {
  CALSEAL_ASSIGN(const Bytes pem, read_private_pem(path));
  CALSEAL_ASSIGN(const SealedKey key, open_private_pem(pem, passphrase, kParcelPem, printable(path)));
  Bytes secret(32);
  std::size_t size = secret.size();
  if (EVP_PKEY_get_raw_private_key(key.get(), secret.data(), &size) != 1 || size != secret.size())
    return x25519_failed();
  return secret;
}

}  // namespace calseal
