// Signing statements: the trust file and its kin.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/sign/private_key.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

using SigningKeys = std::vector<std::reference_wrapper<const PrivateKey>>;

// The text of a statement file with a signature by each key over `signed_text`, which must hold no line feed.
// kUsage when no key or more than kSignatureLimit keys are given, or one twice.
Result<std::string> sign_statement(std::string_view signed_text, const SigningKeys& keys);

// The text of a trust file, signed by its root and read back through parse_trust_file() before it is
// returned: whatever that refuses comes back as an error. kTrustInvalid when `root` is not the root that it
// names.
Result<std::string> seal_trust_file(const TrustFile& trust, const PrivateKey& root);

}  // namespace calseal
