// What a trust file makes of a bundle's signatures: first whether they are true, and, once the manifest is
// parsed, whether these keys may sign it.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// Keys of the trust file, in the order of the signatures; valid as long as the trust file is.
using Signers = std::vector<const TrustedKey*>;

// Looks up every key id (kSignerUnknown), then verifies every signature in file order (kSignatureBad).
Result<Signers> verify_prefix_signatures(const BundlePrefix& prefix, const TrustFile& trust,
                                         const std::string& name);

// In this order, each over all signers: state (kKeyCompromised), scope (kKeyScope), validity at the claimed
// time (kKeyValidity); then roles and threshold (kRolesMissing): each role that the manifest requires has a
// key of its own, and at least `trust.threshold` of the signers are authors or reviewers.
Status judge_trust(const Manifest& manifest, const Signers& signers, const TrustFile& trust,
                   const std::string& name);

// Whether each role can be given a signer of its own that holds it, no signer serving two roles.
bool roles_can_be_filled(const std::vector<Role>& roles, const Signers& signers);

}  // namespace calseal
