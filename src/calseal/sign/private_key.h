// Ed25519 private keys: made, kept under a passphrase, used. Only the shop's side has this.
#pragma once

#include <array>
#include <cstdint>
#include <memory>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/prefix.h"
#include "calseal/trust/key.h"

namespace calseal {

inline constexpr int kKeyIterations = 600'000;                // PBKDF2 rounds of the keys we write
inline constexpr int kKeyIterationLimit = 5'000'000;          // more, and a key file could stall its reader
inline constexpr std::uint64_t kPrivateKeyFileLimit = 16384;  // bytes

// One private key in memory; wiped when it goes.
class PrivateKey {
 public:
  // From the system's random generator; kInternal when that has none to give.
  static Result<PrivateKey> generate();
  // From the 32 secret bytes of RFC 8032; for fixed keys in tests. kKeyFileInvalid for another length.
  static Result<PrivateKey> from_seed(ByteView seed);

  PrivateKey(PrivateKey&&) noexcept;
  PrivateKey& operator=(PrivateKey&&) noexcept;
  ~PrivateKey();

  const PublicKey& public_key() const { return public_key_; }
  const KeyId& id() const { return id_; }
  // Pure Ed25519 over the whole message; the same message always gives the same signature. Verified before it
  // is returned; kInternal when libcrypto fails.
  Result<PrefixSignature> sign(ByteView message) const;
  // The same without verifying, for whoever verifies it before it leaves: a fault while signing could give
  // away the key.
  Result<PrefixSignature> sign_unverified(ByteView message) const;

  // PEM, "ENCRYPTED PRIVATE KEY": PKCS#8 (RFC 5958) under PBES2 (RFC 8018) with AES-256-CBC and
  // PBKDF2-HMAC-SHA-256. kPassphraseMissing when the passphrase is empty.
  Result<std::string> encrypted_pem(std::string_view passphrase) const;
  // The inverse; also takes keys that other software wrote in this encoding. kKeyFileInvalid,
  // kPassphraseMissing, kPassphraseWrong, kKeyWeak. `name` only names the file in errors.
  static Result<PrivateKey> from_encrypted_pem(ByteView pem, std::string_view passphrase,
                                               const std::string& name);

 private:
  struct Secret;  // libcrypto's key object, which wipes what it frees
  explicit PrivateKey(std::unique_ptr<Secret> secret);
  static Result<PrivateKey> adopt(std::unique_ptr<Secret> secret, const std::string& name);

  std::unique_ptr<Secret> secret_;
  PublicKey public_key_;
  KeyId id_;
};

// kKeyFilePermissions when group or others have any permission on the file; then as from_encrypted_pem().
Result<PrivateKey> read_private_key(const std::string& path, std::string_view passphrase);
// Several under one passphrase; the error of the first that does not open.
Result<std::vector<PrivateKey>> read_private_keys(const std::vector<std::string>& paths,
                                                  std::string_view passphrase);

// Overwrites the text in a way that the compiler keeps; for passphrases.
void wipe(std::string& secret);

}  // namespace calseal
