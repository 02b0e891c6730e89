// Private key files: PKCS#8 (RFC 5958) under PBES2 (RFC 8018), whatever kind of key is in them.
#pragma once

#include <memory>
#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

struct evp_pkey_st;  // libcrypto's key

namespace calseal {

struct FreeSealedKey {
  void operator()(evp_pkey_st* key) const;
};
using SealedKey = std::unique_ptr<evp_pkey_st, FreeSealedKey>;

struct SealedKeyKind {
  std::string_view words;  // for errors: "an Ed25519 private key"
  bool is_x25519;          // else Ed25519
};
inline constexpr SealedKeyKind kSigningPem{"an Ed25519 private key", false};
inline constexpr SealedKeyKind kParcelPem{"an X25519 private key", true};

// PEM, "ENCRYPTED PRIVATE KEY", with AES-256-CBC and PBKDF2-HMAC-SHA-256. kPassphraseMissing when the
// passphrase is empty; kInternal when libcrypto fails.
Result<std::string> seal_private_pem(const evp_pkey_st* key, std::string_view passphrase);
// The inverse; also takes keys that other software wrote in this encoding. kKeyFileInvalid,
// kPassphraseMissing, kPassphraseWrong. `name` only names the file in errors.
Result<SealedKey> open_private_pem(ByteView pem, std::string_view passphrase, const SealedKeyKind& kind,
                                   const std::string& name);
// kKeyFilePermissions when group or others have any permission on the file.
Result<Bytes> read_private_pem(const std::string& path);

}  // namespace calseal
