// Counter-signing: more signatures for a sealed bundle, whose manifest, and so its identity, stays.
#pragma once

#include <string>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/sign/statement_sign.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

struct CounterSignedBundle {
  Bytes file;
  Manifest manifest;
  Sha256 digest;                     // of the manifest, as before
  std::vector<std::string> signers;  // names of all whose signature it now bears, in the order of the file
  bool incomplete =
      false;  // nobody accepts it yet: signatures are missing, or missing beside a compromised key
};

// Adds a signature by each key. In this order: from 1 to kSignatureLimit different keys (kUsage); each is in
// the trust file (kSignerUnknown), active (kKeyCompromised) and an author or reviewer (kRolesMissing); the
// bundle's beginning, all its signatures known and good (kSignerUnknown, kSignatureBad), manifest, framing
// and stored digests; no key signed it before and not more than kSignatureLimit will have (kUsage); the keys
// may sign this revision at its claimed time (kKeyScope, kKeyValidity). Then the new bundle is opened by the
// checker, whose refusal comes back as the error, but for what further signatures can mend.
// `name` only names the bundle in errors. Who signs says that this revision is the shop's own: the bundle
// should come from its archive, not from a stranger.
Result<CounterSignedBundle> countersign(const Bytes& bundle, const std::string& name, const SigningKeys& keys,
                                        const TrustFile& trust);

}  // namespace calseal
