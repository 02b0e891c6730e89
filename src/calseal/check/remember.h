// What the checker writes down: the next state, from the one it had and what it has now verified.
// docs/order.md, "What is remembered".
#pragma once

#include <string>
#include <string_view>

#include "calseal/base/utc_time.h"
#include "calseal/check/open.h"
#include "calseal/check/state.h"
#include "calseal/trust/withdrawal.h"

namespace calseal {

// No time is remembered further ahead of the newest signed time of its check.
inline constexpr std::int64_t kClockAheadLimit = std::int64_t{400} * 86400;  // seconds

// A list against those that the state remembers for its root: kWithdrawalsOld for a lower number than that of
// the last one that counts, and for another list of that number.
Status compare_withdrawals(const WithdrawalList& list, const CheckerState& state, const TrustFile& trust,
                           const std::string& name);

// Whether this list replaces what is remembered, or is what counts already.
bool is_newer(const WithdrawalList& list, const CheckerState& state, const TrustFile& trust);

// Notes a list behind those known; nothing where it is not newer.
void learn_list(RootState& root, const WithdrawalList& list, const TrustFile& trust);

// Notes an accepted revision: what it covers is dropped, and where something covers it nothing changes. False
// where a revision 0 had no room among the ways back.
bool learn_revision(RootState& root, const OpenedBundle& opened);

// Drops the texts of region maps that no revision and no way back has any more.
void drop_unused_maps(CheckerState& state);

// Does that, and keeps the text of a region map where some revision or way back has it. False where there is
// no room for it.
bool keep_map(CheckerState& state, const RegionMap& map);

// Notes the clock, as far as signed times support it. `newest_signed`: a time as files have it.
// `clock_is_right`: the person's word, by which a later time gives way.
void learn_time(CheckerState& state, UtcTime now, std::string_view newest_signed, bool clock_is_right);

}  // namespace calseal
