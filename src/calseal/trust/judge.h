// What a trust file makes of a bundle's signatures: first whether they are true, and, once the manifest is
// parsed, whether these keys may sign it.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/bundle/prefix.h"
#include "calseal/trust/inclusion.h"
#include "calseal/trust/signers.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// verify_signers() over the manifest: kSignerUnknown, kSignatureBad.
Result<Signers> verify_prefix_signatures(const BundlePrefix& prefix, const TrustFile& trust,
                                         const std::string& name);

// Who answers for a revision: the signers that counted.
struct Vouching {
  std::vector<KeyId> keys;  // ascending; empty where `by_ledger`
  bool by_ledger = false;   // a proof of inclusion let a compromised signer pass
};

// In this order, each over all signers: state (kKeyCompromised, kInclusionInvalid), scope (kKeyScope; a map
// outside a key's region maps passes where the manifest's approvals lead to it from one of them),
// validity at the claimed time (kKeyValidity); then roles and threshold (kRolesMissing): each role that the
// manifest requires has a key of its own, and at least `trust.threshold` of the signers are authors or
// reviewers.
//
// A compromised signer is no refusal where `proof` shows that a ledger head pinned by the root includes this
// manifest: its signature then counts as before. Nor where the active signers alone fill all roles and the
// threshold: it then counts for nothing. `proof` is looked at only when a signer is compromised, and may be
// null. One that was given and shows nothing is kInclusionInvalid instead of kKeyCompromised.
Result<Vouching> vouch_for(const Manifest& manifest, const Sha256& manifest_digest, const Signers& signers,
                           const TrustFile& trust, const InclusionProof* proof, const std::string& name);

// The same where only the answer is wanted.
Status judge_trust(const Manifest& manifest, const Sha256& manifest_digest, const Signers& signers,
                   const TrustFile& trust, const InclusionProof* proof, const std::string& name);

// Whether signers have a key of their own for each role, and at least `threshold` authors or reviewers.
bool are_enough(const std::vector<Role>& roles, const Signers& signers, std::uint64_t threshold);

// Whether each role can be given a signer of its own that holds it, no signer serving two roles.
bool roles_can_be_filled(const std::vector<Role>& roles, const Signers& signers);

}  // namespace calseal
