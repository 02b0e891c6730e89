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
// Keys that are asked for when there is something to sign, so that nobody types a passphrase in vain.
using KeySource = std::function<Result<SigningKeys>()>;

// kUsage unless these are from 1 to kSignatureLimit different keys.
Status check_signing_keys(const SigningKeys& keys);

// The text of a statement file with a signature by each key over `signed_text`, which must hold no line feed.
// kUsage as from check_signing_keys().
Result<std::string> sign_statement(std::string_view signed_text, const SigningKeys& keys);

// The text of a trust file, signed by its root and read back through parse_trust_file() before it is
// returned: whatever that refuses comes back as an error. kTrustInvalid when `root` is not the root that it
// names.
Result<std::string> seal_trust_file(const TrustFile& trust, const PrivateKey& root);

// The text of a succession from `old_root`, whose trust file is `old_trust_text` as it stands in its file, to
// `new_root`; read back through parse_succession() before it is returned, so an old trust file that does not
// announce the new root comes back as kSuccessionInvalid.
Result<std::string> seal_succession(const std::string& old_trust_text, const std::string& claimed_time,
                                    const std::string& reason, const PrivateKey& old_root,
                                    const PrivateKey& new_root);

}  // namespace calseal
