// The shop's parcel key as a file: its public half, which a sheet names.
#pragma once

#include <string>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/digest/sha256.h"
#include "calseal/trust/sheet.h"

namespace calseal {

// "-----BEGIN PUBLIC KEY-----" and so on (RFC 8410); exactly what `openssl pkey -pubout` writes of an X25519
// key.
std::string parcel_key_pem(const ParcelKey& key);
// The inverse. kKeyFileInvalid; kKeyWeak for a point of small order.
Result<ParcelKey> parse_parcel_key_pem(ByteView text, const std::string& name);

// SHA-256 of its SubjectPublicKeyInfo, as for signing keys.
Sha256 parcel_key_id(const ParcelKey& key);

}  // namespace calseal
