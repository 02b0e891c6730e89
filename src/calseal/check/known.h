// What a state knows that counts under the trust file in use. docs/order.md, "What counts" and "Withdrawals".
#pragma once

#include <optional>
#include <string_view>
#include <vector>

#include "calseal/check/state.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

// `root` and every root from which recorded successors lead to it; those that the state does not hold are
// left out. Pointers into `state`.
std::vector<const RootState*> speaking_roots(const CheckerState& state, const KeyId& root);

// What was learned of a job and controller under the trust file's root and every root that speaks for it.
// Pointers into `state`.
std::vector<const JobState*> known_jobs(const CheckerState& state, const TrustFile& trust,
                                        std::string_view job, std::string_view controller);

// Whether an accepted revision still counts: proved by the ledger, signed by no key that `trust` calls
// compromised, or its other keys alone would have sufficed.
bool counts(const AcceptedRevision& accepted, const TrustFile& trust);
// Whether one of the keys of a list of withdrawals is not called compromised.
bool counts(const RememberedList& list, const TrustFile& trust);

// The counting revision with the highest sequence; nothing where none counts.
const KeptRevision* newest_accepted(const std::vector<const JobState*>& jobs, const TrustFile& trust);

// The region map of the newest counting revision; where none counts, that of the counting way back with the
// highest sequence; nothing where none does.
std::optional<Sha256> known_map(const std::vector<const JobState*>& jobs, const TrustFile& trust);

// Whether this manifest was accepted as a revision 0, whoever signed it.
bool accepted_way_back(const std::vector<const JobState*>& jobs, const Sha256& digest);

// The last list learned under a root that counts; nothing: there is none.
const RememberedList* last_counting_list(const RootState& root, const TrustFile& trust);

// Manifest digests of the revisions that are withdrawn under the trust file's root, ascending.
std::vector<Sha256> withdrawn_in_force(const CheckerState& state, const TrustFile& trust);

}  // namespace calseal
