// What the checker writes down: the next state, from the one it had and what it has now verified.
#pragma once

#include <optional>

#include "calseal/base/utc_time.h"
#include "calseal/check/open.h"
#include "calseal/check/state.h"
#include "calseal/trust/succession.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {

// A trust chain against the state: kTrustOld for a root that was succeeded, for a lower version than seen,
// and for another file of the same version.
Status compare_trust(const TrustChain& chain, const CheckerState& state, const std::string& name);

// A list against the state: kWithdrawalsOld for a lower number than seen, and for another list of that
// number.
Status compare_withdrawals(const WithdrawalList& list, const CheckerState& state, const std::string& name);

// Notes trust file, succeeded roots and the list; numbers never fall.
void remember_trust(CheckerState& state, const TrustChain& chain, const WithdrawalList* list);

// Notes an accepted revision: a newer one raises everything, a return or the way back lowers nothing. The
// time never runs backwards.
void remember_revision(CheckerState& state, const KeyId& root, const OpenedBundle& opened, UtcTime now);

}  // namespace calseal
