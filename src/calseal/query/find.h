// Which sealed revisions answer a question.
#pragma once

#include <algorithm>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "calseal/query/criterion.h"
#include "calseal/query/index.h"
#include "calseal/trust/trust_file.h"

namespace calseal {

enum class SealState : std::uint8_t {
  kNotLookedAt,  // no trust file was given
  kHolds,        // every signature is good and these keys may sign it
  kIncomplete,   // good, but roles that it requires have not signed yet
  kRefused,      // see FoundRevision::reason
};
std::string_view seal_state_name(SealState state);  // "not-looked-at", "holds", "incomplete", "refused"

struct FoundRevision {
  std::string file;  // within the archive
  Sha256 identity;
  std::string job, controller, title, claimed_time, vehicle_reference;
  std::uint64_t base = 1, revision = 0, sequence = 1;
  SealState seal = SealState::kNotLookedAt;
  std::string reason;  // code, kRefused only
};

// Every bundle that fulfils all criteria, by job, controller, sequence and file; none: all of them. With a
// trust file the manifest and signatures of each are read anew from the bundle and judged; its other contents
// are not. A copy in a hand-over is left out where the job keeps the same revision.
Result<std::vector<FoundRevision>> find_revisions(const Index& index, const std::vector<Criterion>& criteria,
                                                  const TrustFile* trust);

// The same about the one bundle that the index keeps under this number; nothing where it keeps none.
Result<std::optional<FoundRevision>> find_file(const Index& index, std::int64_t file, const TrustFile* trust);

// Whether the bundle is in a hand-over of a job.
bool is_handed_over(const FoundRevision& found);

// Takes out copies of what a job has handed over and keeps as well: they say nothing beside it. `of` gives an
// item's revision.
template <typename Item, typename Of>
void drop_handed_copies(std::vector<Item>& all, const Of& of) {
  std::vector<Sha256> kept;
  for (const Item& item : all) {
    if (!is_handed_over(of(item))) kept.push_back(of(item).identity);
  }
  std::ranges::sort(kept);
  std::erase_if(all, [&](const Item& item) {
    return is_handed_over(of(item)) && std::ranges::binary_search(kept, of(item).identity);
  });
}

}  // namespace calseal
