// What sealing makes of the rules before: approvals that are kept, and a region map that allows more than
// customers know.
#pragma once

#include "calseal/base/result.h"
#include "calseal/bundle/manifest.h"
#include "calseal/sign/seal.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// Puts the approvals into the manifest: those of the revision that is followed, then those given, each once,
// the oldest left out beyond kApprovalLimit. Those given must count (the reasons of parse_approval(),
// kApprovalInvalid for another controller). Then what a customer would say whose state knows the revision
// that is followed: kRulesChanged, kRulesWidened.
Status state_approvals(const SealRequest& request, const TrustFile& trust, Manifest& manifest);

}  // namespace calseal
