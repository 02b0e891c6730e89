// The private half of the shop's parcel key, kept under a passphrase like the shop's other keys.
#pragma once

#include <string>
#include <string_view>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"

namespace calseal {

// PEM, "ENCRYPTED PRIVATE KEY"; see sealed_pem.h. `secret`: 32 bytes of X25519 (RFC 7748 section 5).
// kPassphraseMissing, kInternal.
Result<std::string> encrypted_parcel_pem(ByteView secret, std::string_view passphrase);
// The inverse, of a file; the caller wipes what it gets. kKeyFilePermissions, kKeyFileInvalid,
// kPassphraseMissing, kPassphraseWrong.
Result<Bytes> read_parcel_secret(const std::string& path, std::string_view passphrase);

}  // namespace calseal
