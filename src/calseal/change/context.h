// Where a stretch of one image lies in another of its family: found by the bytes around it.
#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "calseal/base/bytes.h"
#include "calseal/base/range_set.h"
#include "calseal/image/image.h"

namespace calseal {

// A stretch to be found again.
struct ContextGroup {
  Range range;                // addresses in the old memory, not empty
  std::vector<Range> places;  // parts whose own bytes must agree for `core_agrees`; ascending
};

struct ContextCandidate {
  std::uint64_t begin = 0;   // where the group would begin
  std::uint64_t score = 0;   // thousandths of the bytes around it, and of its own, that agree
  bool core_agrees = false;  // every byte of its places
};

inline constexpr std::uint64_t kContextScoreNeeded = 650;  // thousandths
inline constexpr std::uint64_t kContextLeadNeeded =
    150;  // over the next best place, here and in the old image
inline constexpr std::uint64_t kContextLeadOfPerfect = 100;  // where nothing differs

// What the search says about one group.
struct ContextMatch {
  std::vector<ContextCandidate> here;  // best first
  std::uint64_t second = 0;  // score of the next best place, in the new memory or beside itself in the old
  bool found() const { return !here.empty() && here.front().score >= kContextScoreNeeded; }
  bool alone() const {
    const std::uint64_t best = here.empty() ? 0 : here.front().score;
    return best >= second + (best == 1000 ? kContextLeadOfPerfect : kContextLeadNeeded);
  }
};

// One for each group, all of one memory. Neither bytes of `derived_new` nor of `derived_old` are places: they
// repeat others. O(bytes of both memories + candidates * surroundings).
std::vector<ContextMatch> find_by_context(const Memory& from, const Memory& to,
                                          const std::vector<ContextGroup>& groups,
                                          const RangeSet& derived_old, const RangeSet& derived_new);

}  // namespace calseal
