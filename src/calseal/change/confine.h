// The confinement proof: every changed byte lies in an editable region, in a permitted patch that stands
// whole, or in a derived place that holds its right value. Worded "within the areas declared by the region
// map", never "safe".
#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "calseal/change/compare.h"
#include "calseal/map/verify.h"

namespace calseal {

// Changed ranges listed as violations for each reason; two unrelated images would fill the memory with them.
inline constexpr std::size_t kViolationLimit = 10000;

struct Confinement {
  std::vector<ChangedRange> changes;  // exact
  std::vector<CheckOutcome> checks;   // of the image after
  std::vector<bool> patches_applied;  // one per permitted patch
  std::vector<Error>
      violations;  // in this order: missing bytes, signed, patch, locked, volatile, derived; each by address

  bool holds() const { return violations.empty(); }
  std::uint64_t changed_bytes() const;
};

// Judges `after` against `before`, byte by byte. Both must have the map's memories. Derived bytes are judged
// by their checks: kDerivedWrong, kCopyOneSided, and kChecksumNotProvable when they changed and nothing
// proves their value. A check that is not provable is no violation otherwise: what it covers was known before
// neither; bytes that `before` knows and `after` does not are kReadIncomplete.
Confinement prove_confinement(const Plan& plan, const Image& before, const Image& after);

// The same when `before` was verified already: what no change reaches holds or fails as it did there.
Confinement prove_confinement(const Plan& plan, const Image& before, const Image& after,
                              const std::vector<CheckOutcome>& checks_before);

// The same from what was worked out before: all differences, and the checks of `after`.
Confinement judge_changes(const Plan& plan, const Image& before, const Image& after,
                          std::vector<ChangedRange> changes, std::vector<CheckOutcome> checks);

// verify_checks() of `image` out of those of `other`: what reads and owns the same bytes there is as it is
// there. Everything anew when they know different bytes.
std::vector<CheckOutcome> verify_from(const Image& other, std::vector<CheckOutcome> checks_of_other,
                                      const Plan& plan, const Image& image);

// What a checker asks of the same proof, in memory that does not grow with what has changed.
struct Confined {
  std::uint64_t changed_bytes = 0;
  std::vector<bool> patches_applied;  // one per permitted patch
  // The first, in the order above; derived places with wrong values are left to `checks`.
  std::optional<Error> violation;
};
Confined confine(const Plan& plan, const Image& before, const Image& after,
                 const std::vector<CheckOutcome>& checks);

// The first violation as an error.
Status require_confined(const Confinement& proof);

// Whether a permitted patch stands as "after" by the bytes that the image knows, and not as "before".
bool is_applied(const PermittedPatch& patch, const Image& image);

// Whether each permitted patch stands whole as before (false) or after (true) in the image; kChangePatch
// names the first that stands neither way. Known bytes alone are judged; a patch of which none is known
// counts as not applied.
Result<std::vector<bool>> patch_states(const RegionMap& map, const Image& image);

// kMapNotBelieved unless the family is recognised and every provable checksum and copy holds on `base`.
Status believe_map(const Plan& plan, const Image& base);
Status believe_map(const Plan& plan, const Image& base, const std::vector<CheckOutcome>& checks);

// The same without its checks: enough to keep a read as it was received, as evidence and way back, and for
// nothing else. A patch that stands neither way is refused here too (kChangePatch).
Status recognise_received(const Plan& plan, const Image& base);

// Share of the image's known bytes that a revision may change, in hundredths of a percent.
std::uint64_t editable_share(const Plan& plan, const Image& image);

}  // namespace calseal
