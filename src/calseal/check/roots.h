// Whether the state agrees with the way by which a trust file is believed. docs/order.md, "Roots" and "The
// trust file"; RFC 9124 section 4.3.21 has the requirement of key rotation.
#pragma once

#include <string>
#include <string_view>

#include "calseal/check/state.h"
#include "calseal/trust/succession.h"

namespace calseal {

// The state as a bundle under this chain is judged by it: the chain's trust files and steps noted, and what
// was learned under another successor dropped where `stated_root` settles that. In this order: no root of the
// chain known and none stated (kRootUnrelated), another successor known and none stated behind it
// (kSuccessionFork), a root that was succeeded, a lower version than seen, another file of the same version
// (kTrustOld). The result is remembered only when the bundle is accepted.
Result<CheckerState> follow_chain(const TrustChain& chain, const CheckerState& state,
                                  std::string_view stated_root, const std::string& name);

// Every key that old trust files of the chain or the state call compromised is listed so (kKeyReinstated).
// `state` is what follow_chain() gave, or empty.
Status check_compromised(const TrustChain& chain, const CheckerState& state, const std::string& name);

// Notes a trust file: a higher version, and keys that it calls compromised. `text`: its signed text.
void learn_trust(RootState& root, const TrustFile& trust, std::string_view text);

// What a check that accepts nothing may teach about the chain's trust file. Nothing where its root is not
// known, except that a stated root may be the first that is known of its chain.
RootState* root_of_look(CheckerState& state, const TrustChain& chain, std::string_view stated_root);

}  // namespace calseal
