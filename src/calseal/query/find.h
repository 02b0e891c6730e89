// Which sealed revisions answer a question.
#pragma once

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
// are not.
Result<std::vector<FoundRevision>> find_revisions(const Index& index, const std::vector<Criterion>& criteria,
                                                  const TrustFile* trust);

// The same about the one bundle that the index keeps under this number; nothing where it keeps none.
Result<std::optional<FoundRevision>> find_file(const Index& index, std::int64_t file, const TrustFile* trust);

}  // namespace calseal
