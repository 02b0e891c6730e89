// What a root does to its trust file: each change is a step from one version to the next.
//
// Nothing here signs; seal_trust_file() does, and reads the result back. A change that makes no sense is
// kUsage, and the trust file is then as it was.
#pragma once

#include <cstdint>
#include <string>

#include "calseal/base/result.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// One version higher. kUsage when `claimed_time` lies before that of the version it follows.
Status begin_version(TrustFile& trust, const std::string& claimed_time);

// Its id is computed here; names, roles and scopes are put into order. kUsage for a key that is there
// already, for the root or its announced successor, and when the list is full.
Status add_key(TrustFile& trust, TrustedKey key);

// What the key signs from `valid_until` on no longer counts; what it signed before, by its claimed time,
// does. kUsage when the key is not there, is compromised, or ends earlier already.
Status retire_key(TrustFile& trust, const KeyId& id, const std::string& valid_until);

// kUsage when the key is not there or is compromised already. There is no way back from it.
Status compromise_key(TrustFile& trust, const KeyId& id);

// kUsage for a number that the active authors and reviewers cannot reach.
Status set_threshold(TrustFile& trust, std::uint64_t threshold);

// Replaces an earlier announcement. kUsage for the root itself and for a signing key.
Status announce_root(TrustFile& trust, const KeyId& next_root);

// kUsage when another head of this size is pinned, this one is, or as many as may be are.
Status pin_head(TrustFile& trust, const TreeHead& head);

// The first trust file of a new root: version 1, with everything that the old one says, and no announcement.
TrustFile trust_under_new_root(const TrustFile& old_trust, const PublicKey& new_root,
                               const std::string& claimed_time);

}  // namespace calseal
