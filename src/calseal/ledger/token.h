// Time-stamp tokens (RFC 3161) over a head: somebody else's word for when it existed.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/trust/succession.h"

namespace calseal {

inline constexpr std::uint64_t kTokenSizeLimit = 65536;         // bytes
inline constexpr std::uint64_t kCertificateSizeLimit = 262144;  // bytes of one PEM file

// TimeStampReq (RFC 3161 section 2.4.1) in DER: SHA-256 of the head's file, a nonce, certificate asked for.
Result<Bytes> make_token_request(ByteView head_file);

// The time that a TimeStampResp or its token alone says, once the signature, the digest and the chain to one
// of `authorities` (PEM) hold; "YYYY-MM-DDThh:mm:ssZ", fractions cut off (kTokenInvalid, kKeyFileInvalid).
// The certificates are judged at the token's own time.
Result<std::string> verify_token(const NamedBytes& token, ByteView head_file,
                                 const std::vector<NamedBytes>& authorities);

// Keeps a token beside a head that is kept in the ledger's folder, once it was verified. kNotInLedger when no
// head of that size is kept. Returns the token's time.
Result<std::string> attach_token(const std::string& folder, std::uint64_t size, const NamedBytes& token,
                                 const std::vector<NamedBytes>& authorities);

}  // namespace calseal
